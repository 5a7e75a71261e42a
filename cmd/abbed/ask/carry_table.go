package ask

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"abbed/analysis"
	"abbed/cmd/abbed/console"
	"abbed/daemon/api"
	"abbed/daemon/correction"
	"abbed/gcode/printfile"
	"abbed/probe/record"
)

// fewest letters of a digest that a sign-off must name.
const fewest = 8

// table fetches the correction.
func (k *carry) table(c *cobra.Command) (api.Table, error) {
	if k.tableFile != "" {
		return readTable(k.tableFile, c.InOrStdin())
	}
	a, err := k.Dial()
	if err != nil {
		return api.Table{}, err
	}
	var named []string
	if k.run != "" {
		named = []string{k.run}
	}
	id, err := Chosen(c, a, named)
	if err != nil {
		return api.Table{}, err
	}
	t, err := a.Table(c.Context(), id)
	if err != nil {
		return t, err
	}
	in, err := a.Applied(c.Context())
	if err != nil {
		return t, err
	}
	return t, InForce(t, in)
}

// InForce refuses a table that the printer's own map holds, or may hold.
func InForce(t api.Table, in api.Applied) error {
	same := t.Digest != nil && in.Digest != nil && *t.Digest == *in.Digest
	switch in.State {
	case api.Writing, api.Verifying, api.Unfinished, api.ApplyFailed:
		return console.Refused(fmt.Errorf("carry: what the printer's bed map holds is not certain (%s): finish it on the page, or abbed correction undo", in.State))
	case api.Kept:
		if same && in.Expired != nil {
			return console.Refused(fmt.Errorf("carry: the correction is stale: %s: measure again", *in.Expired))
		}
		if same {
			return console.Refused(errors.New("carry: the printer's own map holds this correction already, and it would count twice: print the file as it was sliced, or undo first (abbed correction undo)"))
		}
	}
	return nil
}

// readTable reads a table, or the record of a run and works the table out.
func readTable(name string, in io.Reader) (t api.Table, err error) {
	b, err := console.ReadAll(name, in)
	if err != nil {
		return t, console.Usage(fmt.Errorf("carry: --table %s: %w", name, err))
	}
	var kind map[string]json.RawMessage
	damaged := func(err error) error {
		return console.Usage(fmt.Errorf("carry: --table %s: %w", name, console.NoJSON(err, "table", len(b), "give table.json, or the record of a run")))
	}
	switch text := bytes.TrimSpace(b); {
	case len(text) == 0:
		return t, console.Usage(fmt.Errorf("carry: --table %s is empty; give table.json, or the record of a run", name))
	case text[0] != '{':
		return t, console.Usage(fmt.Errorf("carry: --table %s is no table, which is JSON and begins with {; give table.json, or the record of a run", name))
	}
	if err := json.Unmarshal(b, &kind); err != nil {
		return t, damaged(err)
	}
	switch {
	case kind["table"] != nil: // abbed runs analyse --json
		b = kind["table"]
	case kind["nodes"] == nil && kind["refused"] == nil:
		run, err := console.ReadRecord(b)
		switch {
		case kind["version"] == nil:
			return t, console.Usage(fmt.Errorf("carry: --table %s is neither a table nor the record of a run; give table.json, or the record of a run", name))
		case err != nil:
			return t, console.Usage(fmt.Errorf("carry: --table %s: %w", name, err))
		}
		made, why := analysis.Judge(run).Table(run)
		return correction.Table(run, made, why), nil
	}
	if err := json.Unmarshal(b, &t); err != nil {
		return t, damaged(err)
	}
	return t, nil
}

// admit refuses a table that may not be carried, and makes a surface of the rest.
func (k *carry) admit(t api.Table, limits record.Criteria, now time.Time, w io.Writer) (*printfile.Grid, error) {
	if t.Refused != nil {
		return nil, console.Refused(fmt.Errorf("carry: the table is refused (%s): %s %s", t.Refused.Code, t.Refused.Text, t.Refused.Hint))
	}
	if t.Digest == nil || len(*t.Digest) != 64 || !isHex(*t.Digest) {
		return nil, console.Refused(errors.New("carry: the correction has no digest, so it is not approved: take it from the daemon, or give the run's record"))
	}
	if sum := correction.Tabled(t).Sum(); sum != *t.Digest {
		return nil, console.Refused(fmt.Errorf("carry: the table's digest is %.8s, and that of its nodes, printer, lever and area %.8s: it was changed, or an older abbed wrote it: take it from the daemon, or give the run's record", *t.Digest, sum))
	}
	g, nodes, err := Grid(t)
	if err != nil {
		return nil, console.Refused(err)
	}
	if err := Within(nodes, g, limits); err != nil {
		return nil, console.Refused(err)
	}
	if err := k.fresh(t.Run, now); err != nil {
		return nil, console.Refused(err)
	}
	said := strings.ToLower(strings.TrimSpace(k.signed))
	if len(said) < fewest || !strings.HasPrefix(*t.Digest, said) {
		fmt.Fprintln(w, "Before a correction goes into a print file, read these cautions:")
		for _, c := range t.Cautions {
			fmt.Fprintf(w, "  - %s\n", c.Text)
		}
		fmt.Fprintln(w, "  - The printer's own levelling is as it was in the run. The correction is not applied to its bed map as well.")
		fmt.Fprintf(w, "Then approve it: --approve %s\n", *t.Digest)
		if said == "" {
			return nil, console.Refused(errors.New("carry: the correction is not approved"))
		}
		return nil, console.Refused(fmt.Errorf("carry: %q is not the digest of this table (at least its first %d letters)", k.signed, fewest))
	}
	return g, nil
}

func isHex(s string) bool { _, err := hex.DecodeString(s); return err == nil }

// Within holds the table to the limits again: a file may have been edited.
func Within(nodes [][]api.Node, g *printfile.Grid, limits record.Criteria) error {
	const half = 0.0005 // nodes are whole um
	largest, _ := g.Bounds()
	u95, steepest := 0.0, 0.0
	for j, row := range nodes {
		for i, a := range row {
			if math.IsNaN(a.U95) || a.U95 < 0 {
				return fmt.Errorf("carry: node (%d,%d) has no uncertainty: take the table from the daemon, or give the run's record", i, j)
			}
			u95 = max(u95, a.U95)
			for _, b := range [...]api.Node{row[max(i-1, 0)], nodes[max(j-1, 0)][i]} {
				if d := math.Hypot(a.U-b.U, a.V-b.V); d > 0 {
					steepest = max(steepest, (math.Abs(a.Add-b.Add)-half)/d)
				}
			}
		}
	}
	switch {
	case largest > limits.Largest+half:
		return fmt.Errorf("carry: the largest correction is %.3f mm; at most %.3f mm is carried: repair first", largest, limits.Largest)
	case steepest > limits.Steepest+half/10:
		return fmt.Errorf("carry: between neighbouring nodes the correction changes by %.3f mm per 100 mm; at most %.3f is carried: repair first", 100*steepest, 100*limits.Steepest)
	case u95 > limits.DoubtShare*largest:
		return fmt.Errorf("carry: the correction is known to ±%.3f mm only, more than %.0f %% of its largest, %.3f mm: take more readings", u95, 100*limits.DoubtShare, largest)
	}
	return nil
}

// fresh refuses the table of a run that is too old, by the time in its id (UUIDv7,
// RFC 9562 5.7: the first 48 bits are ms since 1970).
func (k *carry) fresh(run string, now time.Time) error {
	b, err := hex.DecodeString(strings.ReplaceAll(run, "-", ""))
	if err != nil || len(b) != 16 || b[6]>>4 != 7 {
		return fmt.Errorf("carry: when run %q was made is not known from its id, so that it may be stale: take the table as the daemon gives it", run)
	}
	var ms int64
	for _, c := range b[:6] {
		ms = ms<<8 | int64(c)
	}
	age := now.Sub(time.UnixMilli(ms))
	if age > k.oldest {
		return fmt.Errorf("carry: the run was made %.0f days ago and counts as stale after %.0f (--oldest): measure again", age.Hours()/24, k.oldest.Hours()/24)
	}
	return nil
}
