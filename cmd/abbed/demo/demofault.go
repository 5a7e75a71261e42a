package demo

import (
	"fmt"
	"slices"
	"strings"

	"abbed/daemon/api"
	"abbed/gcode/bench"
)

// demoPhases are the phases of the job in which a fault of the demo may strike.
var demoPhases = []string{"connect", "repeat", "survey", "gauging", "apply", "undo"}

// phaseFaults are the faults that the demo injects when the job comes to a
// phase, each once.
type phaseFaults map[string][]bench.Fault

// ReadFaults sorts NAME@WHEN: what strikes at a command from the start goes to
// the virtual printer, what strikes in a phase waits for it.
func ReadFaults(texts []string) (now []bench.Fault, later phaseFaults, err error) {
	later = phaseFaults{}
	for _, text := range texts {
		name, when, _ := strings.Cut(text, "@")
		if !slices.Contains(demoPhases, when) {
			f, err := bench.ParseFault(text)
			if err != nil {
				return nil, nil, fmt.Errorf("demo: --fault: %w; or one of the phases %s", err, strings.Join(demoPhases, ", "))
			}
			now = append(now, f)
			continue
		}
		f, err := bench.ParseFault(name)
		switch {
		case err != nil:
			return nil, nil, fmt.Errorf("demo: --fault: %w", err)
		case when == "connect":
			now = append(now, f)
		default:
			if when == "apply" || when == "undo" {
				f.When = "M421:4" // in the middle of writing
			}
			later[when] = append(later[when], f)
		}
	}
	return now, later, nil
}

// StrikeAt has the faults of a phase strike when the run, as the API shows it,
// has come a little way into it.
func (p phaseFaults) StrikeAt(printer *bench.Printer, tell func(string, ...any)) (seen func(api.Run), phase func(string)) {
	phase = func(name string) {
		all := p[name]
		delete(p, name)
		for _, f := range all {
			printer.Inject(f)
			tell("fault %s strikes now (%s)", f.Name, bench.FaultSays(f.Name))
		}
	}
	return func(r api.Run) {
		if r.Progress.Done >= 3 {
			phase(r.Step)
		}
	}, phase
}

func faultList() string {
	var b strings.Builder
	for _, name := range bench.Faults() {
		fmt.Fprintf(&b, "  %-24s %s\n", name, bench.FaultSays(name))
	}
	return b.String()
}
