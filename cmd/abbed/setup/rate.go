package setup

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"abbed/gcode/port"
)

// Patience is how long a printer may take to answer at one of several rates,
// real time.
type Patience struct{ First, Next time.Duration }

// atRates: the first time the board may still be starting, which opening the
// port may have made it do (common practice, no source).
var atRates = Patience{First: 15 * time.Second, Next: 6 * time.Second}

// onlyRate is the same if there is only one.
const onlyRate = time.Minute

// FindRate greets the printer at one rate after another until it answers. Each
// attempt opens the port anew, which puts no pulse on DTR: closing left it as it
// was. A wrong rate costs time and unreadable bytes; what the printer may have
// taken them for is ended by a line end before the first word.
func (d *Doctor) FindRate(ctx context.Context, rates []int, open func(context.Context, int) (io.ReadWriteCloser, error)) (call, error) {
	var tried []string
	for i, baud := range rates {
		limit := d.Patience.Next
		switch {
		case len(rates) == 1:
			limit = onlyRate
		case i == 0:
			limit = d.Patience.First
		}
		c, err := d.tryRate(ctx, baud, limit, len(rates) > 1, open)
		var unopened *port.OpenError
		var taken *port.TakenError
		switch {
		case err == nil:
			return c, nil
		case ctx.Err() != nil, errors.As(err, &taken), errors.As(err, &unopened) && i == 0:
			return c, err
		case len(rates) == 1:
			return c, fmt.Errorf("%w; is this the printer's port, and is its rate %d? (--baud; without it the usual ones are tried on a device)", err, baud)
		}
		tried = append(tried, fmt.Sprint(baud))
		fmt.Fprintf(d.Errs, "No answer at %d bit/s.\n", baud)
	}
	return call{}, fmt.Errorf("doctor: the printer does not answer at %s bit/s; is it switched on, and is this its port? Another rate is given with --baud", strings.Join(tried, ", "))
}

func (d *Doctor) tryRate(ctx context.Context, baud int, limit time.Duration, several bool, open func(context.Context, int) (io.ReadWriteCloser, error)) (call, error) {
	conn, err := open(ctx, baud)
	if err != nil {
		return call{}, err
	}
	if several {
		if _, err := conn.Write([]byte("\n")); err != nil {
			return call{}, errors.Join(err, conn.Close())
		}
	}
	late, cancel := context.WithTimeout(ctx, limit)
	defer cancel()
	c, err := d.greet(late, conn)
	c.Baud = baud
	return c, err
}
