package ask

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"abbed/cmd/abbed/console"
	"abbed/config"
	"abbed/daemon/api"
	"abbed/gcode/printfile"
	"abbed/probe/record"
)

// carry is the state of one call.
type carry struct {
	Caller
	tableFile, run, signed, out, follow string
	oldest                              time.Duration
	o                                   printfile.Options
}

// CarryCommand rewrites a print file for a machine whose map cannot be edited.
func CarryCommand() *cobra.Command {
	k := carry{o: printfile.Defaults()}
	c := &cobra.Command{
		Use:   "carry FILE",
		Short: "Rewrite a print file so that Z follows the correction.",
		Long: `FILE is a sliced print file, and "-" reads standard input. The result goes to standard
output, or to the file of -o. That file appears only when it is whole, and replaces an
older one.

The correction holds in full over the first two layers of FILE. It ends above them so slowly
that no layer becomes more than 2 % thicker or thinner.

The correction is that of a run: of a daemon (--run ID, else the latest), or of a file
(--table FILE). FILE is table.json of abbed demo --out, the answer of GET runs/ID/table, or
the record of a run. A person must read the cautions, and approve by the digest: --approve
DIGEST, at least its first 8 letters.

The printer's own levelling must be as it was in the run. Never apply a correction and carry
it too: it would count twice.`,
		Args: cobra.ExactArgs(1),
	}
	f := c.Flags()
	k.add(c)
	console.AddSettings(f, "config", "set")
	f.StringVar(&k.tableFile, "table", "", "Take the correction from this file and not from the daemon.")
	f.StringVar(&k.run, "run", "", "The run of the daemon whose table is carried.")
	f.StringVar(&k.signed, "approve", "", "The digest of the table whose cautions you have read and accept.")
	f.StringVarP(&k.out, "out", "o", "", "Write to this file.")
	f.StringVar(&k.follow, "g91-moves-e", "", "Yes or no: whether G90 and G91 change E too on your machine; asked for only where it matters.")
	f.DurationVar(&k.oldest, "oldest", 30*24*time.Hour, "A run older than this is stale: wheels wear, screws loosen.")
	c.RunE = func(c *cobra.Command, args []string) error {
		if args[0] == "-" && k.tableFile == "-" {
			return console.Usage(errors.New("carry: FILE and --table cannot both come from standard input: name a file for one of them"))
		}
		if c.Flags().Changed("out") {
			if err := console.CanBecome(k.out); err != nil {
				return console.Usage(fmt.Errorf("carry: -o %w", err))
			}
		}
		return coded(k.do(c, args[0]))
	}
	return c
}

// limits are those of the owner's settings here, or, where the table says under which it
// was offered and nobody set any here, those: no table says more than the settings can.
func (k *carry) limits(s config.Settings, t api.Table) record.Criteria {
	out := record.DefaultCriteria()
	if _, said := s.Given["largest"]; said || t.Limits == nil {
		return out.WithLargest(s.Largest)
	}
	out.Largest, out.Steepest, out.DoubtShare = min(t.Limits.Largest, 1), min(t.Limits.Steepest, 1)/100, min(t.Limits.DoubtShare, 1)
	return out
}

func (k *carry) do(c *cobra.Command, name string) error {
	s, err := k.Settings(true)
	if err != nil {
		return err
	}
	switch k.follow {
	case "":
	case "yes":
		k.o.Follow = printfile.Follows
	case "no":
		k.o.Follow = printfile.Apart
	default:
		return console.Usage(fmt.Errorf("carry: --g91-moves-e %q: say yes or no", k.follow))
	}
	t, err := k.table(c)
	if err != nil {
		return err
	}
	g, err := k.admit(t, k.limits(s, t), time.Now(), c.ErrOrStderr())
	if err != nil {
		return err
	}
	k.o.Note = fmt.Sprintf("table %s of run %s for printer %s", *t.Digest, oneLine(t.Run), oneLine(t.Printer))
	if err := k.o.Check(g); err != nil {
		return console.Usage(err)
	}
	in := c.InOrStdin()
	if name != "-" {
		f, err := os.Open(name)
		if err != nil {
			return console.Usage(fmt.Errorf("carry: %s: %w", name, console.NoFile(err)))
		}
		defer f.Close()
		if i, err := f.Stat(); err == nil && i.IsDir() {
			return console.Usage(fmt.Errorf("carry: %s: %w", name, console.NoFile(syscall.EISDIR)))
		}
		in = f
	}
	sum, err := k.write(c.OutOrStdout(), in, name, g)
	if err != nil {
		return err
	}
	return k.tell(c.ErrOrStderr(), sum)
}

// oneLine keeps a stranger's name from ending the header.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
}

// write rewrites in to where it is to go.
func (k *carry) write(out io.Writer, in io.Reader, name string, g *printfile.Grid) (sum printfile.Summary, err error) {
	if k.out == "" {
		if sum, err = printfile.Rewrite(out, in, g, k.o); err != nil {
			err = fmt.Errorf("%w (what stands on the output up to there must not be printed)", console.OnDisk(err))
		}
	} else {
		for _, read := range []string{name, k.tableFile} {
			a, errA := os.Stat(k.out)
			b, errB := os.Stat(read)
			if errA == nil && errB == nil && os.SameFile(a, b) {
				return sum, console.Usage(fmt.Errorf("carry: -o %s is a file that is read: keep it as it is, and name another", k.out))
			}
		}
		err = console.Becomes(k.out, func(w io.Writer) (err error) {
			sum, err = printfile.Rewrite(w, in, g, k.o)
			return err
		})
	}
	if errors.Is(err, printfile.ErrTwice) {
		err = console.Refused(err)
	}
	return sum, err
}

// tell says what was done.
func (k *carry) tell(w io.Writer, s printfile.Summary) error {
	if k.Json {
		return console.WriteJSON(w, s)
	}
	fmt.Fprintf(w, "%d of %d moves were changed in %d lines, %d of them cut into %d pieces; between %+.3f and %+.3f mm were added.\n",
		s.Changed, s.Moves, s.Lines, s.Cut, s.Pieces, s.Least, s.Most)
	fmt.Fprintf(w, "The correction holds in full up to Z %.4g mm and has ended at %.4g mm.\n", s.Full, s.End)
	if s.Changed == 0 {
		fmt.Fprintln(w, "Nothing was changed: no move leads below the height at which the correction ends. Is it a print file with absolute places?")
	}
	if s.Untold > 0 {
		fmt.Fprintf(w, "%d extruding moves, the first in line %d, were left as they are: the file had not said yet where the head is.\n", s.Untold, s.First)
	}
	if s.Assumed > 0 {
		fmt.Fprintf(w, "The file does not say whether E is absolute (M82) or not (M83) before line %d, where a move was cut: it was taken to be absolute. If your machine starts otherwise, do not print it: write M83 at the file's beginning and carry it again.\n", s.Assumed)
	}
	if s.Own > 0 {
		fmt.Fprintf(w, "%d lines, the first of them line %d, are words of the machine's own and were passed as they are: one that changes G90, G91, M82, M83 or the frame would make what follows wrong.\n", s.Own, s.FirstOwn)
	}
	if s.Outside > 0 {
		fmt.Fprintf(w, "%d moves lay plastic outside the nodes of the correction, up to %.0f mm: the correction of the nearest edge holds there, and is less certain.\n", s.Outside, s.Farthest)
	}
	if s.Below > 0 {
		fmt.Fprintf(w, "%d moves end below Z 0, the lowest at %.3f mm: a printer that limits its travel at 0 cuts them off there. Look at the first layer where the correction is most negative.\n", s.Below, s.Lowest)
	}
	fmt.Fprintln(w, "Stay with the first layer, with a hand at the power switch. Measure again after each change to the machine.")
	return nil
}

// Grid makes a surface of a table's nodes, and returns them by rows, from the smallest Y.
func Grid(t api.Table) (*printfile.Grid, [][]api.Node, error) {
	columns, rows := 0, 0
	for _, n := range t.Nodes {
		columns, rows = max(columns, n.I+1), max(rows, n.J+1)
	}
	if n := len(t.Nodes); columns < 2 || rows < 2 || columns > n || rows > n || n != columns*rows {
		return nil, nil, fmt.Errorf("carry: the table holds %d nodes for %d columns and %d rows: it is not whole: take it from the daemon, or give the run's record", n, columns, rows)
	}
	nodes := slices.Clone(t.Nodes)
	slices.SortFunc(nodes, func(a, b api.Node) int { return cmp.Or(a.J-b.J, a.I-b.I) })
	first, last := nodes[0], nodes[len(nodes)-1]
	at, add := make([][]api.Node, rows), make([][]float64, rows)
	for k, n := range nodes {
		i, j := k%columns, k/columns
		if n.I != i || n.J != j {
			return nil, nil, fmt.Errorf("carry: node (%d,%d) of the table is not a node or stands twice: take it from the daemon, or give the run's record", n.I, n.J)
		}
		want := record.NodePlace(record.Rect{X0: first.U, Y0: first.V, X1: last.U, Y1: last.V}, columns, rows, i, j)
		if want.Distance(record.Place{U: n.U, V: n.V}) > 0.01 {
			return nil, nil, fmt.Errorf("carry: node (%d,%d) of the table is at (%.3f,%.3f), not in an even grid: take it from the daemon, or give the run's record", i, j, n.U, n.V)
		}
		at[j], add[j] = append(at[j], n), append(add[j], n.Add)
	}
	g, err := printfile.NewGrid(first.U, first.V, last.U, last.V, add)
	return g, at, err
}
