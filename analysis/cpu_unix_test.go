//go:build unix

package analysis_test

import "syscall"

// cpu returns the processor's time that this process has used, s.
func cpu() float64 {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0
	}
	s := func(t syscall.Timeval) float64 { return float64(t.Sec) + float64(t.Usec)/1e6 }
	return s(r.Utime) + s(r.Stime)
}
