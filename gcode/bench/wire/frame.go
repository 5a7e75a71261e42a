package wire

import (
	"strconv"
	"strings"
)

// Frame is one line as it came, taken apart: with or without line number and
// check.
type Frame struct {
	Body    string // the command without number and check
	Number  int
	Framed  bool   // has a number or a check
	Damaged string // why the frame is not good; empty when it is
}

// ParseFrame takes `N<line> <command>*<check>` apart. The check is the xor of
// all bytes before the star, in decimal. A line with neither is not framed.
func ParseFrame(line string) Frame {
	line = strings.Trim(line, "\r\n\x00 \t")
	star := strings.LastIndexByte(line, '*')
	if semi := strings.IndexByte(line, ';'); semi >= 0 && star > semi {
		star = -1
	}
	numbered := line != "" && (line[0] == 'N' || line[0] == 'n')
	if star < 0 && !numbered {
		return Frame{Body: line}
	}
	f := Frame{Framed: true}
	if star < 0 {
		f.Damaged = "no check"
		return f
	}
	want, err := strconv.Atoi(strings.TrimSpace(line[star+1:]))
	if err != nil || want != int(xor(line[:star])) {
		f.Damaged = "check wrong"
		return f
	}
	if !numbered {
		f.Damaged = "no line number"
		return f
	}
	rest := strings.TrimLeft(line[1:star], " ")
	digits := leadingNumber(rest)
	if f.Number, err = strconv.Atoi(digits); err != nil {
		f.Damaged = "no line number"
		return f
	}
	f.Body = strings.TrimSpace(rest[len(digits):])
	return f
}

func xor(s string) byte {
	var x byte
	for i := 0; i < len(s); i++ {
		x ^= s[i]
	}
	return x
}

// Counter holds the number of the last line taken.
type Counter struct{ Last int }

// Take judges a frame: "" when the line is to be done, else why it is to be
// sent again. M110 sets the counter, to its own N or to the line's number.
func (c *Counter) Take(f Frame) (why string) {
	if !f.Framed {
		c.set(f.Body, nil)
		return ""
	}
	if f.Damaged != "" {
		return f.Damaged
	}
	if c.set(f.Body, &f.Number) {
		return ""
	}
	if f.Number != c.Last+1 {
		return "line number not next"
	}
	c.Last = f.Number
	return ""
}

// set obeys M110 and tells whether the body was one.
func (c *Counter) set(body string, number *int) bool {
	words, err := ParseWords(body)
	if err != nil || len(words) == 0 || words[0].Code != "M110" {
		return false
	}
	if n, ok := words[0].Num('N'); ok {
		c.Last = int(n)
	} else if number != nil {
		c.Last = *number
	}
	return true
}
