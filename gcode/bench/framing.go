package bench

import (
	"strconv"
	"strings"
)

// frame is one line as it came, taken apart: with or without line number and
// check.
type frame struct {
	body    string // the command without number and check
	number  int
	framed  bool   // has a number or a check
	damaged string // why the frame is not good; empty when it is
}

// parseFrame takes `N<line> <command>*<check>` apart. The check is the xor of
// all bytes before the star, in decimal. A line with neither is not framed.
func parseFrame(line string) frame {
	line = strings.Trim(line, "\r\n\x00 \t")
	star := strings.LastIndexByte(line, '*')
	if semi := strings.IndexByte(line, ';'); semi >= 0 && star > semi {
		star = -1
	}
	numbered := line != "" && (line[0] == 'N' || line[0] == 'n')
	if star < 0 && !numbered {
		return frame{body: line}
	}
	f := frame{framed: true}
	if star < 0 {
		f.damaged = "no check"
		return f
	}
	want, err := strconv.Atoi(strings.TrimSpace(line[star+1:]))
	if err != nil || want != int(xor(line[:star])) {
		f.damaged = "check wrong"
		return f
	}
	if !numbered {
		f.damaged = "no line number"
		return f
	}
	rest := strings.TrimLeft(line[1:star], " ")
	digits := leadingNumber(rest)
	if f.number, err = strconv.Atoi(digits); err != nil {
		f.damaged = "no line number"
		return f
	}
	f.body = strings.TrimSpace(rest[len(digits):])
	return f
}

func xor(s string) byte {
	var x byte
	for i := 0; i < len(s); i++ {
		x ^= s[i]
	}
	return x
}

// counter holds the number of the last line taken.
type counter struct{ last int }

// take judges a frame: "" when the line is to be done, else why it is to be
// sent again. M110 sets the counter, to its own N or to the line's number.
func (c *counter) take(f frame) (why string) {
	if !f.framed {
		c.set(f.body, nil)
		return ""
	}
	if f.damaged != "" {
		return f.damaged
	}
	if c.set(f.body, &f.number) {
		return ""
	}
	if f.number != c.last+1 {
		return "line number not next"
	}
	c.last = f.number
	return ""
}

// set obeys M110 and tells whether the body was one.
func (c *counter) set(body string, number *int) bool {
	words, err := parseWords(body)
	if err != nil || len(words) == 0 || words[0].code != "M110" {
		return false
	}
	if n, ok := words[0].num('N'); ok {
		c.last = int(n)
	} else if number != nil {
		c.last = *number
	}
	return true
}
