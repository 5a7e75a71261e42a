//go:build !linux

package process

// Slim does nothing here; see slim_linux.go.
func Slim() {}
