// Package process is what a process of abbed has to do with the system that runs it.
//
//   - Logger writes structured lines, into the system's journal in the journal's way.
//   - Manager is the service manager: it hears of the start, of signs of life, of the end.
//   - Starts counts the starts that failed, and holds up the next one.
//   - Slim gives back memory that only the start needed.
//
// # References
//
// sd_notify(3), sd-daemon(3), systemd.exec(5), proc(5).
package process
