package page

import "abbed/daemon/api"

// card is a finding with the picture that shows its evidence, nil if none was
// drawn or a card above has it.
type card struct {
	api.Finding
	Figure *figure
}

// evidence names for each finding the titles of pictures that show it, the
// best first.
var evidence = map[string][]string{
	"beam-twist": {titleWhy, titleGap}, "beam-pitch": {titleWhy, titleGap}, "head-tilt": {titleWhy, titleGap},
	"bed-roll": {titleGap}, "bed-pitch": {titleGap}, "healthy": {titleGap}, "repair": {titleGap},
	"true-shape": {titleProfile, titleMap}, "undetermined": {titleProfile, titleMap},
	"loose-carriage": {titleRepeat}, "probe-not-repeatable": {titleRepeat}, "worn-wheels": {titleRows}, "drift": {titleBase, titleRepeat},
}

// Titles of pictures that findings point to.
const (
	titleWhy     = "Why the bed map cannot show it"
	titleGap     = "Nozzle error over the bed"
	titleProfile = "The bed map from left to right"
	titleMap     = "The bed map as probed"
	titleRepeat  = "One point, again and again"
	titleRows    = "One row, again and again"
	titleBase    = "One point over time"
)

// cards gives each finding its picture; the pictures that none took are left.
func cards(found []api.Finding, figures []figure) (out []card, left []figure) {
	taken := map[int]bool{}
	for _, f := range found {
		c := card{Finding: onLine(f)}
		for _, title := range evidence[f.ID] {
			for i := range figures {
				if c.Figure == nil && !taken[i] && figures[i].Title == title {
					c.Figure, taken[i] = &figures[i], true
				}
			}
		}
		out = append(out, c)
	}
	for i, f := range figures {
		if !taken[i] {
			left = append(left, f)
		}
	}
	return out, left
}

// onLine keeps the numbers of a finding beside their units.
func onLine(f api.Finding) api.Finding {
	for _, s := range []*string{&f.Sentence, &f.Evidence, &f.Doubt, &f.Next} {
		*s = tight(*s)
	}
	return f
}
