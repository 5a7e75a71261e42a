//go:build !linux

package main

// slim does nothing here; see slim_linux.go.
func slim() {}
