// Package demo is the virtual printer at a pseudo-terminal, and the person who is played at it:
// the whole job without a machine, held to what the printer knows of itself.
package demo
