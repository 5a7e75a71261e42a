// Package port opens the way to a printer: a serial device, a pseudo-terminal,
// or a serial line behind the network.
//
// The nouns, in the order in which data passes:
//
//   - Spec says what to open, and how: name, rate, what to do with DTR and RTS.
//   - Sort tells the three ways apart. A real Device may reset its board when it
//     is opened, so the caller asks the person first; a Terminal or a Network
//     address does not.
//   - Port is what was opened. It belongs to one program at a time.
//   - Holder is a process that has a device open; TakenError names it.
//
// # What is done about the traps of ports
//
// Each device is opened twice: go.bug.st/serial sets its mode, rate and modem
// lines, and a guard (an os.File) reads and writes, so that a write after Close
// can never reach another file, that writes have deadlines, that Close ends a
// read at once, and that waiting costs no thread: a round trip takes less than
// half as long as with the library's reads. The guard is locked with flock, since
// TIOCEXCL alone does not stop root; HUPCL is cleared before anything else, so
// that closing does not drop DTR. No pulse of our own is put on DTR; that the
// kernel raises it when a device is opened cannot be prevented from here.
// Children do not inherit the port.
//
// # Units
//
// Rates are in bits per second, times are real.
//
// # Concurrency
//
// One goroutine may read while another writes and a third closes.
//
// # Errors
//
// *TakenError if another program has the device; *OpenError, with a hint, for
// everything else that prevents opening; os.ErrClosed after Close; ErrGone when
// the other end went away.
//
// Linux only: it reads /proc and /dev/serial/by-id.
package port
