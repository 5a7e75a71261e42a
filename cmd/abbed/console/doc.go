// Package console is what every command stands on: exit codes and misuse, the version, shared
// flags, where settings and data are kept, files read and replaced whole, and whose they are.
package console
