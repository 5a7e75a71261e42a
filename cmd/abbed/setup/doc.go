// Package setup asks the printer, then its owner, and writes what a service starts from; doctor
// asks the printer alone and changes nothing.
package setup
