package printfile

import "math"

// number is a decimal as it stands in the file: n / 10^d.
type number struct {
	n int64
	d int
}

var pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

var tens = [...]uint64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// value is the nearest float64: n is below 2^53 and d at most 15, so that one
// division rounds once, as strconv does.
func (a number) value() float64 { return float64(a.n) / pow10[a.d] }

// mostDigits keeps n below 2^53.
const mostDigits = 15

// scan reads sign, digits and at most one point from b at i; ok is false where no
// digit stands, or more than mostDigits that count before the point. Decimals beyond
// the mostDigits-th digit are left out: programs write floating-point numbers to 17.
func scan(b []byte, i int) (a number, end int, ok bool) {
	sign, point := int64(1), false
	if i < len(b) && (b[i] == '-' || b[i] == '+') {
		sign = 44 - int64(b[i]) // ASCII: '+' 43, '-' 45
		i++
	}
	for ; i < len(b); i++ {
		c := b[i] - '0'
		if c > 9 {
			if b[i] != '.' || point {
				break
			}
			point = true
			continue
		}
		ok = true
		if a.n >= 1e14 || a.d == mostDigits {
			if !point {
				return number{}, i, false
			}
			continue
		}
		a.n = 10*a.n + int64(c)
		if point {
			a.d++
		}
	}
	a.n *= sign
	return a, i, ok
}

// rounded returns v as a decimal of d places.
func rounded(v float64, d int) number { return number{int64(math.Round(v * pow10[d])), d} }

// at returns a with at least d places, as far as it can be written so.
func (a number) at(d int) number {
	for a.d < d && a.n < 1e14 && a.n > -1e14 {
		a.n, a.d = a.n*10, a.d+1
	}
	return a
}

// append writes a without needless zeros.
func (a number) append(dst []byte) []byte {
	n, d := a.n, a.d
	for d > 0 && n%10 == 0 {
		n, d = n/10, d-1
	}
	if n < 0 {
		dst, n = append(dst, '-'), -n
	}
	var buf [24]byte
	i := len(buf)
	for k := 0; k <= d || n > 0; k++ {
		if k == d && d > 0 {
			i--
			buf[i] = '.'
		}
		i--
		buf[i] = byte('0' + n%10)
		n /= 10
	}
	return append(dst, buf[i:]...)
}
