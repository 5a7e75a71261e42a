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
// Each device is opened twice: a guard (an os.File, with which everything is
// written, so that a write after Close can never reach another file, and so that
// writes have deadlines) and go.bug.st/serial on top (mode and reads). The guard
// is locked with flock, since TIOCEXCL alone does not stop root; HUPCL is
// cleared before anything else, so that closing does not drop DTR. No pulse of
// our own is put on DTR; that the kernel raises it when a device is opened
// cannot be prevented from here. Children do not inherit the port. Reads are
// woken ten times a second so that Close waits for the reader to leave before
// the descriptor is given back.
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
