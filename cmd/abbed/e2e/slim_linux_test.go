package e2e_test

import (
	"os"
	"strconv"
	"strings"
	"testing"

	"abbed/cmd/abbed/process"
)

// ofFiles reads how much of files is resident in this process, kB (proc(5), RssFile,
// and RssShmem where the program itself stands in memory).
func ofFiles(t *testing.T) int {
	t.Helper()
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("no /proc here")
	}
	sum, said := 0, false
	for line := range strings.Lines(string(b)) {
		if f := strings.Fields(line); len(f) == 3 && (f[0] == "RssFile:" || f[0] == "RssShmem:") {
			n, err := strconv.Atoi(f[1])
			if err != nil {
				t.Fatal(err)
			}
			sum, said = sum+n, true
		}
	}
	if !said {
		t.Skip("this kernel does not say RssFile")
	}
	return sum
}

// TestSlim: the program's own pages are given back, and what is needed comes again.
func TestSlim(t *testing.T) {
	before := ofFiles(t)
	process.Slim()
	if after := ofFiles(t); after > before/2 {
		t.Errorf("%d kB of files are resident, before %d", after, before)
	}
}
