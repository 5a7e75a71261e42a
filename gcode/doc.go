// Package gcode carries on a dialogue with a printer: lines of text out, lines
// of text in, one command at a time, and never an answer given to the wrong
// question.
//
// The nouns, in the order in which data passes:
//
//   - Query and Motion are commands. A Query asks or sets and moves nothing; a
//     Motion may move or heat, and only the probe's Head sends it. They are two
//     types so that the compiler holds the difference.
//   - Line is one line that the printer said, told apart by its shape alone:
//     an ok, a busy, a request to send again, a banner, a fault, temperatures.
//     ParseLine is pure.
//   - Reply is everything that was said between a command and its ok.
//   - Session owns the connection. It finds out by itself whether the printer
//     takes numbered lines with a check (Greet), and keeps every promise below.
//
// What a line means (a lever, a map, a touch) is the business of
// gcode/dialect.
//
// # Promises of a Session
//
// One command is in flight at a time; all others wait their turn. StopNow does
// not wait: its bytes go out past everything.
//
// An ok that nobody waits for is dropped and counted. After a deadline, a halt,
// a restart banner, a lost link, or a fault in answer to a Motion, the session
// is dead for good and says why: a new Session, which first drains the line, is
// the only way on, so that a late ok can never answer another command.
//
// What one command is answered is bounded, in lines and in bytes; beyond that the
// session is dead, and nothing of the answer is kept. What nobody asked for is not
// kept at all.
//
// A context that ends before its command was written costs nothing. If it ends
// while the command is in flight, Ask and Move return the context's error at
// once, and the session waits for the outstanding answer in the background;
// the next command takes its turn after that answer, or fails with the session.
//
// With framing, a command is done exactly once and in order, whatever the line
// does to it, except for damage that an 8-bit check cannot see. After a silence
// the same line is sent once more; if the printer has done it already it says
// so by the number that it wants next. An ok that comes without a needed report,
// or behind a fault that may be a spoilt request to send again, is doubted: the
// printer is sent a line that is damaged on purpose, which it refuses while it
// names the number that it wants, and so tells what it has done without doing
// anything. If a report was lost a Query is asked anew; a Motion fails with
// ErrReplyLost, and nobody makes it again behind the caller's back. A touch that
// failed is never sent again.
//
// Without framing nothing is ever sent twice, a lost ok ends the session, and an
// ok without a needed report is doubted by sending the first word: once its
// answer, known from Greet, has come, everything before it belongs to the
// command. So a doubled ok does not shift the answers.
//
// Silence is no ok, busy line or report for Options.Silence. Temperatures count
// as a sign of life only while heating, and chatter (echoes, comments, wait)
// never, or a lost ok would not be noticed on a printer that reports its
// temperatures by itself.
//
// # Faults
//
// A line that begins with "!!", or with "Error:" and words that tell of a halt,
// kills the session. Any other "Error:" fails its command with a FaultError:
// after a Query the session lives on, since the ok that followed shows that the
// printer is in step; after a Motion, or unasked, it is dead, since nobody
// knows where the machine stands.
//
// # Units
//
// Times are those of Options.Clock. Line numbers count from 1.
//
// # Concurrency
//
// All methods of Session may be called from anywhere. OnUnasked and Log are
// called from the session's goroutines and must not block or call the Session.
//
// # Errors
//
// ErrSilent, ErrOverdue, ErrEndless, ErrRestarted, ErrHalted, ErrLost, ErrStopped
// and ErrClosed are why a session ended (with ErrGarbled beside ErrSilent if only
// unreadable bytes came: the rate of the line is wrong); ErrReplyLost and
// FaultError are why a command failed. All are wrapped in text that names the
// command.
//
// The line format is common practice, from memory, no source; the words go back
// to RS-274/NGC (NIST IR 6556).
package gcode
