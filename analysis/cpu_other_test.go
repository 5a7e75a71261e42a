//go:build !unix

package analysis_test

// cpu is not told here.
func cpu() float64 { return 0 }
