package process

import (
	"os"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// Slim gives back the pages of the program's own file that the beginnings of its
// packages have touched, nearly all of them once: some 13 of 25 MB, of which a
// command such as carry then needs 7 (deploy/carry-memory). They are read-only and
// stand in the file, so that what is needed again is mapped again. Where it fails
// nothing is lost.
func Slim() {
	name, err := os.Readlink("/proc/self/exe")
	if err != nil {
		return
	}
	smaps, err := os.ReadFile("/proc/self/smaps")
	if err != nil {
		return
	}
	for _, m := range filed(string(smaps), name) {
		_, _, _ = unix.Syscall(unix.SYS_MADVISE, m.from, m.to-m.from, unix.MADV_DONTNEED)
	}
}

// span is a range of addresses.
type span struct{ from, to uintptr }

// filed lists the read-only mappings of the file name in a text as proc(5), smaps,
// describes it, all of whose pages are those of the file. A page that was written
// to (the linker of a position-independent program puts addresses into some, and
// makes them read-only then) is nowhere else, and must not be given back.
func filed(smaps, name string) []span {
	var out []span
	var at span
	ours := false
	for line := range strings.Lines(smaps) {
		word, rest, _ := strings.Cut(line, " ")
		if from, to, ok := spanOf(word); ok {
			at, ours = span{from, to}, readOnly(rest) && strings.HasSuffix(strings.TrimSpace(rest), " "+name)
			continue
		}
		if n, given := strings.CutPrefix(strings.TrimSpace(line), "Anonymous:"); ours && given && strings.Fields(n)[0] == "0" {
			out = append(out, at)
		}
	}
	return out
}

func readOnly(flags string) bool {
	return strings.HasPrefix(flags, "r--p") || strings.HasPrefix(flags, "r-xp")
}

// spanOf reads an address range of proc(5), maps: 00400000-00452000.
func spanOf(text string) (from, to uintptr, ok bool) {
	a, b, ok := strings.Cut(text, "-")
	x, err := strconv.ParseUint(a, 16, 64)
	y, err2 := strconv.ParseUint(b, 16, 64)
	return uintptr(x), uintptr(y), ok && err == nil && err2 == nil && x < y
}
