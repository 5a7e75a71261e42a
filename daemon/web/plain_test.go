package web_test

import (
	"html"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"

	"abbed/config/say/saytest"
)

var (
	unread  = regexp.MustCompile(`(?s)<(style|script|svg|code|textarea|noscript)\b.*?</(style|script|svg|code|textarea|noscript)>|<input[^>]*>`)
	hidden  = regexp.MustCompile(`(?s)<(span class="hide"|p[^>]* hidden)[^>]*>.*?</(span|p)>`)
	details = regexp.MustCompile(`(?s)<details[^>]*>\s*(<summary>.*?</summary>)(.*?)</details>`)
	blocks  = regexp.MustCompile(`</?(p|h[1-6]|li|dt|dd|section|div|summary|button|label|legend|td|th|option|figcaption|ol|ul|dl|header|footer|nav|main|small|br|a)\b[^>]*>`)
	person  = regexp.MustCompile(`(?s)<header>.*?</header>`)
)

// texts are the lines of text of a screen in sight, and those under Details.
func texts(page string) (open, folded []string) {
	page = hidden.ReplaceAllString(unread.ReplaceAllString(person.ReplaceAllString(page, ""), " "), " ")
	for _, d := range details.FindAllStringSubmatch(page, -1) {
		folded = append(folded, split(d[2])...)
	}
	if at := strings.Index(page, "<body"); at >= 0 {
		page = page[at:]
	}
	return split(details.ReplaceAllString(page, "$1")), folded
}

func split(fragment string) (out []string) {
	for _, s := range strings.Split(blocks.ReplaceAllString(fragment, "\n"), "\n") {
		if s = strings.TrimSpace(html.UnescapeString(tags.ReplaceAllString(s, ""))); s != "" {
			out = append(out, regexp.MustCompile(`</[a-z]+>`).ReplaceAllString(s, ""))
		}
	}
	return out
}

// TestPlainScreens holds what is read on every screen to the guide to plain words, and
// counts its words.
func TestPlainScreens(t *testing.T) {
	all := 0
	for _, s := range shots {
		if s.scene == "hostile" {
			continue
		}
		w := httptest.NewRecorder()
		s.handler(t).ServeHTTP(w, httptest.NewRequest("GET", s.path, nil))
		open, folded := texts(w.Body.String())
		n := saytest.Words(strings.Join(open, " "))
		all += n
		t.Logf("%4d words: %s", n, s)
		kind := saytest.Page
		switch {
		case s.scene == "room": // with hostile names
			continue
		case strings.HasSuffix(s.path, "/report"):
			continue
		case strings.Contains(s.path, "/since/"): // nothing but statistics
			kind = saytest.Details
		}
		for _, l := range open {
			for _, f := range saytest.Faults(l, kind) {
				t.Errorf("%s: %s\n\t%s", s, f, l)
			}
		}
		for _, l := range folded {
			for _, f := range saytest.Faults(l, saytest.Details) {
				t.Errorf("%s, details: %s\n\t%s", s, f, l)
			}
		}
	}
	t.Logf("%4d words in all", all)
}
