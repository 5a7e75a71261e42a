// Package commands is the tree of the commands, their help, and how a run of the program ends.
package commands
