// Package gcodetest records a dialogue with a printer into a text file and plays
// it back, so that what a real printer once said becomes a test.
//
// The nouns, in the order in which data passes:
//
//   - Recorder stands between a Session and its connection and writes down both
//     directions.
//   - Dialogue is the file: where it came from, and who said what when.
//   - Player is a connection that expects what was sent and says what was heard.
//
// The file begins with lines of the form `# key: value`, of which `from` must
// say where the dialogue came from. Then one line each: seconds since the
// start, `>` for sent or `<` for heard, and the text; a text that is not plain
// stands in quotes, as Go writes them.
//
// # Units
//
// Seconds of the clock that the Recorder was given.
//
// # Concurrency
//
// A Recorder and a Player may be read, written and closed by different
// goroutines, as a Session does. A Dialogue is plain data.
//
// # Errors
//
// Parse names the line of the file. A Player refuses a line that was not sent
// in the recording, and says which one was.
package gcodetest
