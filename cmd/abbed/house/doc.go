// Package house is one daemon with its store, its doors and its page: built, served, renewed,
// and ended in order; what it says goes to the journal, and the service manager is told.
package house
