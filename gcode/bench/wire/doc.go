// Package wire is the virtual printer's end of the line: it takes a Frame apart, counts
// its number, parses the Words in it (RS-274/NGC), and says everything that the printer
// says in one of many Wordings, all made up here.
//
// It knows nothing of what is done with a word. A line that cannot be read is an error
// value; none panics.
package wire
