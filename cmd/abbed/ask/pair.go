package ask

import (
	"fmt"
	"io"
	"net/url"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"rsc.io/qr"

	"abbed/cmd/abbed/console"
	"abbed/config/outside"
	"abbed/daemon/access"
	"abbed/daemon/client"
)

func PairCommand() *cobra.Command {
	role, plain := "sign", false
	c := Ask("pair", "Print a one-time link for a browser, and its QR code.", cobra.NoArgs,
		func(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
			if _, ok := access.Grant(role); !ok {
				return console.Usage(fmt.Errorf("pair: --role %s: give look, operate or sign", role))
			}
			p, err := a.Pair(c.Context(), role)
			if err != nil {
				return err
			}
			if k.Json {
				return console.WriteJSON(c.OutOrStdout(), p)
			}
			fmt.Fprintln(c.OutOrStdout(), p.URL)
			return Invite(c.ErrOrStderr(), p, !plain)
		})
	c.Flags().StringVar(&role, "role", role, "What the browser may do: look, operate (also move the printer) or sign (also approve, apply, undo).")
	c.Flags().BoolVar(&plain, "no-qr", false, "Draw no QR code.")
	return c
}

// Invite says how to use a link, and draws it for a phone's camera where a phone can open
// it.
func Invite(w io.Writer, p client.Paired, draw bool) error {
	at := strings.LastIndexByte(p.URL, '/') + 1
	fmt.Fprintf(w, "Open it once, before %s; or open %s and type the code %s.\n", p.Expires.Local().Format("15:04"), strings.TrimSuffix(p.URL[:at], "/"), p.URL[at:])
	u, err := url.Parse(p.URL)
	if err != nil {
		return err
	}
	if outside.Loopback(u.Hostname()) {
		fmt.Fprintln(w, "A phone cannot open it: the page is for this machine only. abbed setup NAME --replace asks whether you will use a phone.")
		return nil
	}
	if p.Fingerprint != "" {
		fmt.Fprintf(w, trustText, p.Fingerprint, u.Scheme+"://"+u.Host)
	}
	if !draw {
		return nil
	}
	return DrawQR(w, p.URL)
}

// trustText says what a phone warns of. Its arguments are the fingerprint and the page.
const trustText = `The phone must be in the same network. It will warn that it does not know the
certificate: abbed made it itself. Compare the fingerprint in the details of the warning:
  %s
If it is the same, go on. If it is not, stop: the phone did not reach this machine.
To end the warning for good, open %s/in/abbed.crt and install it as a
certificate authority in the settings of the phone. It is good for this page only.
`

// DrawQR draws text as a QR code (ISO/IEC 18004) with half blocks: light
// modules are drawn, so that it is right on a dark terminal, and a phone reads
// the other way round as well. Around it is the quiet zone of four modules.
func DrawQR(w io.Writer, text string) error {
	code, err := qr.Encode(text, qr.M)
	if err != nil {
		return fmt.Errorf("draw the QR code: %w", err)
	}
	const quiet = 4
	light := func(x, y int) int {
		if y >= code.Size+quiet || code.Black(x, y) {
			return 0
		}
		return 1
	}
	var b strings.Builder
	for y := -quiet; y < code.Size+quiet; y += 2 {
		for x := -quiet; x < code.Size+quiet; x++ {
			b.WriteRune([...]rune{' ', '\u2580', '\u2584', '\u2588'}[light(x, y)+2*light(x, y+1)])
		}
		b.WriteByte('\n')
	}
	_, err = io.WriteString(w, b.String())
	return err
}

func ListSessions() *cobra.Command {
	return Ask("list", "List the browsers that you admitted.", cobra.NoArgs,
		func(c *cobra.Command, a *client.Client, k Caller, _ []string) error {
			return give(c, k, func(w io.Writer, all []client.Session) {
				for _, s := range all {
					fmt.Fprintf(w, "%s  %-17s  since %s, seen %s  %s\n", s.ID, s.Role,
						s.Made.Local().Format(time.DateTime), s.Seen.Local().Format(time.DateOnly), s.From)
				}
				if len(all) == 0 {
					fmt.Fprintln(c.ErrOrStderr(), "No browser is admitted: abbed access pair admits one.")
				}
			})(a.Sessions(c.Context()))
		})
}

func EndSession() *cobra.Command {
	return Ask("end ID", "End the session of one browser.", cobra.ExactArgs(1),
		func(c *cobra.Command, a *client.Client, _ Caller, args []string) error {
			if err := a.EndSession(c.Context(), args[0]); err != nil {
				return err
			}
			fmt.Fprintf(c.ErrOrStderr(), "Session %s is ended.\n", args[0])
			return nil
		})
}
