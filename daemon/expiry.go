package daemon

import (
	"fmt"
	"math"
	"time"

	"abbed/analysis"
	"abbed/daemon/status"
	"abbed/daemon/store"
	"abbed/probe/record"
)

// Why a correction expires, beside the tilt that moved, which is said with its
// numbers.
const (
	leverOther = "the lever from nozzle to probe is another than the one that the correction was made for"
	// mapAnew is kept when a run finds that the printer measured its map anew;
	// mapOther is what the printer's own answer says.
	mapAnew  = "the stored map was measured or changed since: the correction is not in it any more"
	mapOther = "the printer's stored map is another than the one that the correction was written into: it was measured anew or changed since"
)

// expiryOf gives a reason its short name.
func expiryOf(why string) string {
	switch why {
	case "":
		return ""
	case leverOther:
		return status.ExpiredLever
	case mapAnew, mapOther:
		return status.ExpiredMap
	}
	return status.ExpiredTwist
}

// worn returns why the correction itself no longer holds, whatever stands in the
// map: the head is another than the one that it was made for. A re-apply is
// refused then.
func (d *Daemon) worn(a store.Applied) string {
	if a.Expired != "" && a.Expired != mapAnew {
		return a.Expired
	}
	l := d.link.now()
	if l.facts == nil {
		return ""
	}
	if k := d.know(l.facts); k.has.lever && k.setup.Lever != a.Lever {
		return leverOther
	}
	return ""
}

// learnTwist keeps that a newer run found another gap error than the run from
// which the correction in force was made.
func (d *Daemon) learnTwist(run record.Run) {
	d.mu.Lock()
	a := d.applied
	d.mu.Unlock()
	if a.State != store.Kept || a.Expired != "" && a.Expired != mapAnew || run.ID == a.Run || run.Ended == nil || run.Ended.State != record.EndDone {
		return
	}
	was, err := d.judged(a.Run)
	if err != nil || run.Setup.Printer.ID != was.run.Setup.Printer.ID {
		return
	}
	why := moved(was.verdict.Gap, d.judge(run).verdict.Gap, d.placesOf(a), d.owner().Judged().Tolerance)
	if why == "" {
		return
	}
	a.At, a.Expired, a.Proved = time.Now(), why, false
	d.saveApplied(a)
}

// placesOf returns where the nodes of a correction are.
func (d *Daemon) placesOf(a store.Applied) []record.Place {
	t, _, err := d.table(d.base, a.Digest)
	if err != nil {
		d.log.Error("the table in force cannot be read", "err", err)
	}
	var out []record.Place
	for _, n := range t.Nodes {
		out = append(out, n.Place)
	}
	return out
}

// moved returns where two measured gap errors differ most beyond their combined
// doubt, sqrt(u95a^2 + u95b^2), and by more than half of the tolerance: less
// than that no first layer shows. It is "" if they do not, or where only one
// of them was measured.
func moved(was, is *analysis.Gap, places []record.Place, tolerance float64) string {
	if was == nil || is == nil {
		return ""
	}
	var worst, most float64
	var at record.Place
	for _, p := range places {
		g, gu, why := was.At(p)
		h, hu, also := is.At(p)
		if why != nil || also != nil {
			continue
		}
		by := h - g
		beyond := math.Abs(by) - math.Hypot(gu, hu)
		if beyond > 0 && math.Abs(by) > tolerance/2 && beyond > worst {
			worst, most, at = beyond, by, p
		}
	}
	if worst == 0 {
		return ""
	}
	return fmt.Sprintf("a newer run finds the gap error at %s another by %+.3f mm, which is beyond the doubt of both: the head tilts otherwise now", at, most)
}
