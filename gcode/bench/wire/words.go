package wire

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// maxLine is the longest line taken, in bytes (RS-274/NGC: 256 characters).
const MaxLine = 256

// maxNumber is the largest number taken: nothing on a printer is as large.
const maxNumber = 1e7

var errLong = errors.New("line too long")

// Word is one command of a line: its code ("G1", "M420", "G38.2") and its
// parameters by letter. A letter without a number is present and NaN.
type Word struct {
	Code string
	args map[byte]float64
}

// Has tells whether the letter stands in the command, with or without a number.
func (w Word) Has(letter byte) bool {
	_, ok := w.args[letter]
	return ok
}

// Num returns the letter's number; ok is false when it is missing or bare.
func (w Word) Num(letter byte) (float64, bool) {
	v, ok := w.args[letter]
	return v, ok && !math.IsNaN(v)
}

// ParseWords takes the commands of one line, without its frame. Case and
// blanks are free; a semicolon starts a comment, ( ) enclose one. Numbers have
// sign, digits and one point, no exponent (RS-274/NGC). An empty line gives
// none.
func ParseWords(line string) ([]Word, error) {
	if len(line) > MaxLine {
		return nil, errLong
	}
	s, err := withoutComments(line)
	if err != nil {
		return nil, err
	}
	var words []Word
	for len(s) > 0 {
		letter := s[0]
		if letter < 'A' || letter > 'Z' {
			return nil, fmt.Errorf("no letter at %q", s)
		}
		text := leadingNumber(s[1:])
		s = s[1+len(text):]
		v, err := number(text)
		if err != nil {
			return nil, fmt.Errorf("letter %c: %w", letter, err)
		}
		words = addLetter(words, letter, text, v)
		if words == nil {
			return nil, fmt.Errorf("letter %c before any command", letter)
		}
	}
	return words, nil
}

// addLetter starts a new command on G, M and T and else adds a parameter to
// the last command; nil when there is none.
func addLetter(words []Word, letter byte, text string, v float64) []Word {
	if letter == 'G' || letter == 'M' || letter == 'T' && len(words) == 0 {
		Code := string(letter) + strings.TrimLeft(text, "+0")
		if Code == string(letter) || Code[1] == '.' {
			Code = string(letter) + "0" + Code[1:]
		}
		return append(words, Word{Code: Code, args: map[byte]float64{}})
	}
	if len(words) == 0 {
		return nil
	}
	words[len(words)-1].args[letter] = v
	return words
}

var comments = regexp.MustCompile(`(?s)\([^)]*\)|;.*|[ \t\r\x00]`)

func withoutComments(line string) (string, error) {
	s := comments.ReplaceAllString(line, "")
	if strings.Contains(s, "(") {
		return "", errors.New("comment not closed")
	}
	return strings.Map(func(r rune) rune {
		if 'a' <= r && r <= 'z' {
			return r - 'a' + 'A'
		}
		return r
	}, s), nil
}

func leadingNumber(s string) string {
	return s[:len(s)-len(strings.TrimLeft(s, "+-.0123456789"))]
}

func number(text string) (float64, error) {
	if text == "" {
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, fmt.Errorf("no number %q", text)
	}
	if math.Abs(v) > maxNumber {
		return 0, fmt.Errorf("number %q too large", text)
	}
	return v, nil
}
