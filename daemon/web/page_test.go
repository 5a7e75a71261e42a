package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"abbed/daemon/access"
	"abbed/daemon/api"
	"abbed/daemon/web/page"
	"abbed/daemon/web/webtest"
	"abbed/probe/record"
)

func get(t *testing.T, h http.Handler, path string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
	return w
}

func send(h http.Handler, path string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest("POST", path, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// everyScreen calls do with each screen of each scene.
func everyScreen(t *testing.T, do func(t *testing.T, scene, path, html string)) {
	for _, scene := range webtest.Scenes() {
		d := webtest.Scene(scene)
		paths := []string{"/", "/runs", "/printer", "/applied", "/room"}
		runs, _ := d.Runs()
		for _, r := range runs {
			paths = append(paths, "/run/"+r.ID)
			if !r.Proves() || !r.State.Over() { // that leads to the run
				paths = append(paths, "/run/"+r.ID+"/results")
			}
			if _, err := d.Table(r.ID); err == nil {
				paths = append(paths, "/run/"+r.ID+"/review")
			}
		}
		for _, path := range paths {
			t.Run(scene+path, func(t *testing.T) {
				w := get(t, handler(d), path)
				if w.Code != 200 {
					t.Fatalf("status %d: %.500s", w.Code, w.Body)
				}
				do(t, scene, path, w.Body.String())
			})
		}
	}
}

var (
	tags    = regexp.MustCompile(`<[a-zA-Z][^>]*>`)
	handle  = regexp.MustCompile(`\s(on[a-z]+|style)=`)
	quoted  = regexp.MustCompile(`"[^"]*"`)
	scripts = regexp.MustCompile(`<script[^>]*>`)
	sources = regexp.MustCompile(`(?:src|href|action)="([^"]*)"`)
)

// A strict policy would refuse a script, a style or a handler within the page,
// and whatever is not ours; and every screen carries the stop request.
func TestScreensKeepThePolicy(t *testing.T) {
	everyScreen(t, func(t *testing.T, scene, path, html string) {
		if s := scripts.FindAllString(html, -1); len(s) != 1 || !strings.Contains(s[0], `src="/static/abbed.js?v=`) {
			t.Errorf("scripts %q: want our own alone", s)
		}
		for _, tag := range tags.FindAllString(html, -1) {
			if handle.MatchString(quoted.ReplaceAllString(tag, `""`)) {
				t.Errorf("styled or handled within: %s", tag)
			}
		}
		if strings.Contains(html, "<style") || strings.Contains(html, "javascript:") {
			t.Error("a style or a script within")
		}
		for _, s := range sources.FindAllStringSubmatch(html, -1) {
			if !strings.HasPrefix(s[1], "/") && !strings.HasPrefix(s[1], "#") && !strings.HasPrefix(s[1], "http://127.0.0.1:80") { // the last: other daemons of the room
				t.Errorf("leads away: %s", s[0])
			}
		}
		stop := strings.Contains(html, `action="/do/stop`) && strings.Contains(html, api.StopSentence)
		if going := webtest.Scene(scene).Printer().Going != ""; stop != going || !going && !strings.Contains(html, "power switch") {
			t.Errorf("a stop request with its sentence: %v, while something goes on: %v", stop, going)
		}
	})
}

// What a printer or a person says never becomes part of the page's structure.
func TestHostileTexts(t *testing.T) {
	d := webtest.Scene("hostile")
	h := handler(d)
	seen := false
	for _, path := range []string{"/", "/runs", "/printer", "/applied", "/room", "/run/r1", "/run/r1/results", "/run/r1/review", "/run/r0", "/run/r2", "/" + url.PathEscape(webtest.Hostile)} {
		html := get(t, h, path).Body.String()
		for _, bad := range []string{"<script>alert", "<img src=x", "' onclick='x"} {
			if strings.Contains(html, bad) {
				t.Errorf("%s: %q got through", path, bad)
			}
		}
		seen = seen || strings.Contains(html, "&lt;script&gt;")
	}
	if !seen {
		t.Error("the hostile text was nowhere: this test cannot fail")
	}
	d.Change(func(s *webtest.Show) {
		s.Refuse = map[string]error{"Undo": api.Errorf(409, webtest.Hostile, webtest.Hostile, "%s", webtest.Hostile)}
	})
	if html := send(h, "/do/undo", url.Values{"sure": {"yes"}}).Body.String(); strings.Contains(html, "<script>alert") || !strings.Contains(html, "&lt;script&gt;") {
		t.Error("a hostile refusal got through, or was not shown")
	}
}

// TestHiddenCharacters: no form of the page takes a name that moves a cursor, turns
// the writing round or has no end.
func TestHiddenCharacters(t *testing.T) {
	for _, name := range []string{"Ida\x1b[2J", "Ida\u202egnp", "Ida\r\nIda", "Ida\x00", "Ida\xff", strings.Repeat("Ida ", 60)} {
		for path, form := range map[string]url.Values{
			"/do/open": {}, "/do/run": {"step": {"repeat"}}, "/do/run/r1/confirm": {"caution": {"a"}}, "/do/run/r1/withdraw": {}, "/do/run/r1/signoff": {"digest": {"x"}, "caution": {"a"}},
			"/do/undo": {"sure": {"yes"}}, "/do/prove": {}, "/do/reapply": {"sure": {"yes"}}, "/do/resolve": {"choice": {"finish"}, "clear": {"yes"}}, "/do/apply/x": {"token": {"t"}},
		} {
			d := webtest.Scene("done")
			form.Set("person", name)
			w := send(handler(d), path, form)
			if asked := d.Asked(); len(asked) > 0 || w.Code != 422 {
				t.Errorf("%s as %q: %d, the desk was asked %v", path, name, w.Code, asked)
			}
		}
	}
}

func TestForms(t *testing.T) {
	for _, c := range []struct {
		name, scene, path string
		form              url.Values
		status            int
		leads             string
		asks              string
	}{
		{"open", "unopened", "/do/open", url.Values{"person": {" Ida "}}, 303, "/", `OpenPort {"person":"Ida"}`},
		{"open without a name", "unopened", "/do/open", url.Values{}, 422, "", ""},
		{"start", "ready", "/do/run", url.Values{"step": {"repeat", "survey"}}, 303, "/run/new", `StartRun {"steps":["repeat","survey"]} "page"`},
		{"start nothing", "ready", "/do/run", url.Values{}, 422, "", ""},
		{"start while connecting", "connecting", "/do/run", url.Values{"step": {"repeat"}}, 503, "", `StartRun {"steps":["repeat"]} "page"`},
		{"confirm", "confirm", "/do/run/r1/confirm", url.Values{"person": {"Ida"}, "caution": {"bed-clear", "head-free"}, "gauge_mm": {"0,15"}}, 303, "/run/r1",
			`Confirm "r1" {"cautions":["bed-clear","head-free"],"person":"Ida","gauge_mm":0.15}`},
		{"withdraw", "confirm", "/do/run/r1/withdraw", url.Values{}, 303, "/", `Withdraw "r1" "page"`},
		{"a check", "ready", "/do/run", url.Values{"step": {"repeat", "survey"}, "quick": {"yes"}}, 303, "/run/new", `StartRun {"steps":["repeat","survey"],"quick":true} "page"`},
		{"gauge one more place", "undetermined", "/do/run", url.Values{"step": {"gauging"}, "for": {"r1"}}, 303, "/run/new", `StartRun {"steps":["gauging"],"for":"r1"} "page"`},
		{"confirm without a name", "confirm", "/do/run/r1/confirm", url.Values{"caution": {"bed-clear"}}, 422, "", ""},
		{"confirm an odd gauge", "confirm", "/do/run/r1/confirm", url.Values{"person": {"Ida"}, "gauge_mm": {"thin"}}, 422, "", ""},
		{"confirm no number", "confirm", "/do/run/r1/confirm", url.Values{"person": {"Ida"}, "gauge_mm": {"NaN"}}, 422, "", ""},
		{"loose", "gauge", "/do/run/r1/gauge", url.Values{"press": {"loose"}}, 303, "/run/r1", `Gauge "r1" {"action":"loose"}`},
		{"next", "next", "/do/run/r1/gauge", url.Values{"press": {"next"}}, 303, "/run/r1", `Gauge "r1" {"action":"next"}`},
		{"answer", "prompt", "/do/run/r1/answer", url.Values{"prompt": {"more-places"}, "answer": {"no"}}, 303, "/run/r1", `Answer "r1" {"prompt":"more-places","answer":"no"} "page"`},
		{"approve", "done", "/do/run/r1/signoff", url.Values{"digest": {webtest.Digest}, "person": {"Ida"}, "caution": {"unproved"}}, 200, "",
			`SignOff "` + webtest.Digest + `" {"cautions":["unproved"],"person":"Ida"}`},
		{"sign off without a name", "done", "/do/run/r1/signoff", url.Values{"digest": {webtest.Digest}}, 422, "", ""},
		{"apply", "done", "/do/apply/" + webtest.Digest, url.Values{"token": {"T"}, "person": {"Ida"}}, 303, "/applied", `Apply "` + webtest.Digest + `" {"token":"T"} "Ida"`},
		{"undo", "kept", "/do/undo", url.Values{}, 303, "/applied", `Undo "page"`},
		{"undo", "unfinished", "/do/resolve", url.Values{"choice": {"take-back"}}, 303, "/applied", `Resolve {"choice":"take-back"} "page"`},
		{"put back", "owed", "/do/resolve", url.Values{"choice": {"finish"}, "clear": {"yes"}}, 303, "/applied", `Resolve {"choice":"finish"} "page"`},
		{"put back by accident", "owed", "/do/resolve", url.Values{"choice": {"finish"}}, 422, "", ""},
		{"stop", "survey", "/do/stop", url.Values{}, 200, "", `Stop "page"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := webtest.Scene(c.scene)
			w := send(handler(d), c.path, c.form)
			if w.Code != c.status || w.Header().Get("Location") != c.leads {
				t.Errorf("%d to %q, want %d to %q: %.300s", w.Code, w.Header().Get("Location"), c.status, c.leads, w.Body)
			}
			want := []string{c.asks}
			if c.asks == "" {
				want = nil
			}
			if got := d.Asked(); !slices.Equal(got, want) {
				t.Errorf("asked %q, want %q", got, want)
			}
		})
	}
}

// A proof that is over says what it showed of the correction, and has no findings of
// the machine.
func TestProofOver(t *testing.T) {
	h := handler(webtest.Scene("proof-over"))
	html := get(t, h, "/run/p1").Body.String()
	if !strings.Contains(html, "<h1>Not verified: the level changed, not the tilt.</h1>") || !strings.Contains(html, `href="/applied">Show the correction`) || strings.Contains(html, "See the findings") {
		t.Errorf("%.3000s", html)
	}
	if w := get(t, h, "/run/p1/results"); w.Code != http.StatusSeeOther || w.Header().Get("Location") != "/run/p1" {
		t.Errorf("its findings: %d to %q", w.Code, w.Header().Get("Location"))
	}
}

// What is offered for a correction that was kept is what would not be refused.
// What is owed is told in the words of the one owner, with what not to do before.
func TestOwedIsToldAlike(t *testing.T) {
	d := webtest.Scene("owed")
	todo, html := d.Printer().Todo[0], get(t, handler(d), "/").Body.String()
	for _, want := range []string{todo.Act, todo.Says, "Do not print before."} {
		if !strings.Contains(html, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

func TestWhatIsLeftToDo(t *testing.T) {
	for scene, offers := range map[string]map[string]bool{
		"kept":            {"/do/prove": true, "/do/reapply": true, "/do/undo": true, "Measure again": false},
		"proved":          {"/do/prove": false, "/do/reapply": true, "/do/undo": true, "Measure again": false},
		"expired":         {"/do/prove": false, "/do/reapply": true, "/do/undo": true, "Measure again": false},
		"tilts-otherwise": {"/do/prove": false, "/do/reapply": false, "/do/undo": true, "Measure again": true},
	} {
		html := get(t, handler(webtest.Scene(scene)), "/applied").Body.String()
		for what, offered := range offers {
			if strings.Contains(html, what) != offered {
				t.Errorf("%s: %s offered: %v", scene, what, !offered)
			}
		}
	}
}

// The token of a sign-off stands in the one screen that follows it.
func TestSignOffThenWrite(t *testing.T) {
	d := webtest.Scene("done")
	h := handler(d)
	html := send(h, "/do/run/r1/signoff", url.Values{"digest": {webtest.Digest}, "person": {"Ida"}, "caution": {"unproved"}}).Body.String()
	if !strings.Contains(html, `name="token" value="token-for-`+webtest.Digest+`"`) || !strings.Contains(html, `action="/do/apply/`+webtest.Digest+`"`) {
		t.Error("no form that writes the table")
	}
	if strings.Contains(get(t, h, "/run/r1/review").Body.String(), "token-for-") {
		t.Error("the token shows again")
	}
}

func TestEnter(t *testing.T) {
	w := httptest.NewRecorder()
	page.Enter(w, httptest.NewRequest("GET", "/in/x", nil), access.Entrance{Action: "/in", Code: webtest.Hostile})
	html := w.Body.String()
	if !strings.Contains(html, `action="/in"`) || !strings.Contains(html, `name="code" value="&#34;&gt;`) || strings.Contains(html, "<script>alert") {
		t.Errorf("%s", html)
	}
}

func TestRefusalIsShown(t *testing.T) {
	d := webtest.Scene("gauge")
	d.Change(func(s *webtest.Show) {
		s.Refuse = map[string]error{"Gauge": api.Errorf(422, "too-high", "Skip this point.", "tight at 2.000 mm: higher than where the nozzle arrived")}
	})
	w := send(handler(d), "/do/run/r1/gauge", url.Values{"press": {"tight"}})
	for _, want := range []string{"Tight at 2.000\u00a0mm: higher than where the nozzle arrived.", "Skip this point.", `value="drags"`} {
		if !strings.Contains(w.Body.String(), want) {
			t.Errorf("%q is missing", want)
		}
	}
	if w.Code != 422 {
		t.Errorf("status %d, want that of the refusal", w.Code)
	}
}

// At the gauge no height and no distance is read: they would tell the hand what to feel.
// They are under Details, and so is what was read before. What is shown is what is asked.
func TestNoNumberTellsTheHand(t *testing.T) {
	folded := regexp.MustCompile(`(?s)<details.*?</details>`)
	for scene, wants := range map[string][]string{
		"gauge":  {"Is it loose, does it drag, or is it tight?", "Point 3 of 10", "reading 2 of 2", "0.10 mm", "That reading is kept."},
		"first":  {"This first point takes longer: the nozzle starts high.", "Point 1 of 10", "reading 1 of 2"},
		"next":   {"Take hand and gauge out, then press next.", `value="next"`},
		"detour": {"A point half way comes first, then this one again.", `value="next"`},
	} {
		whole := get(t, handler(webtest.Scene(scene)), "/run/r1").Body.String()
		_, main, _ := strings.Cut(whole, "<main")
		open := folded.ReplaceAllString(main, "")
		for _, want := range wants {
			if !strings.Contains(open, want) {
				t.Errorf("%s: %q is missing", scene, want)
			}
		}
		if got := regexp.MustCompile(`\d\.\d+\x{a0}mm`).FindAllString(open, -1); len(got) > 0 {
			t.Errorf("%s: heights in sight: %q", scene, got)
		}
		if !regexp.MustCompile(`(?s)<details.*Nozzle \d\.\d+\x{a0}mm.*</details>`).MatchString(main) {
			t.Errorf("%s: the heights are nowhere", scene)
		}
		for _, word := range []string{"blade", "record", "foretold"} {
			if text := tags.ReplaceAllString(open, " "); regexp.MustCompile(`(?i)\b` + word).MatchString(text) {
				t.Errorf("%s: says %q", scene, word)
			}
		}
	}
}

// What goes on is said with how far it is, and who is not needed may go.
func TestGoing(t *testing.T) {
	for scene, wants := range map[string][]string{
		"homing":  {"then homing.", `<progress aria-label="Getting ready"></progress>`, "Nozzle 25\u00a0°C"},
		"warming": {"Nozzle: 84 of 150\u00a0°C", `<progress max="150" value="84">`, "Bed: 41 of 60\u00a0°C", "data-awake"},
		"repeat":  {"<b>38</b> of 160", "<h1>Touching the same point again and again: is the machine steady?</h1><p>Stay near, the feeler gauge comes next.</p>", "data-awake"},
		"rows":    {"<h1>You can go now.</h1><p>Touching one row three times: do the wheels run true? <b>About ", `<li class="now" aria-current="step"><a href="/run/r1">measure</a>`},
		"moving":  {`value="loose" disabled`, "data-awake", "at-gauge"},
		"survey":  {"<h1>You can go now.</h1><p>Touching the bed all over. <b>About 12\u00a0min left.</b></p>", "<b>74</b> of 175"},
		"done":    {"A correction takes the nozzle error from 0.14\u00a0mm to within \u00b10.01\u00a0mm."},
		"healthy": {"The nozzle error is at most 0.01\u00a0mm, known to \u00b10.01\u00a0mm."},
	} {
		html := get(t, handler(webtest.Scene(scene)), "/run/r1").Body.String()
		for _, want := range wants {
			if !strings.Contains(html, want) {
				t.Errorf("%s: %q is missing", scene, want)
			}
		}
		if awake := strings.Contains(html, "data-awake"); awake && (scene == "survey" || scene == "rows" || scene == "done") {
			t.Errorf("%s: keeps a screen lit that nobody needs", scene)
		}
	}
}

func TestNumbersOnThePage(t *testing.T) {
	d := webtest.Scene("done")
	for path, wants := range map[string][]string{
		"/run/r1/results": {"At worst the nozzle is 0.14\u00a0mm too high, known to \u00b10.01\u00a0mm. The first layer does not stick there. Elsewhere it is 0.11\u00a0mm too low and digs in.", "Set the Z offset 0.04\u00a0mm lower first (known to \u00b1", "beam-twist", "aria-label=\"The nozzle is between 0.11 mm too low and 0.13 mm too high", "mm/min"},
		"/run/r1/review":  {"The nozzle goes 0.12\u00a0mm lower at the right and 0.10\u00a0mm higher at the left.", "0.117\u00a0mm", "\u00b10.01\u00a0mm"},
		"/printer":        {"X \u221242, Y \u22129", "asked", "default"},
	} {
		html := get(t, handler(d), path).Body.String()
		for _, want := range wants {
			if !strings.Contains(html, want) {
				t.Errorf("%s: %q is missing: %s", path, want, regexp.MustCompile(`<h1>.*</h1>`).FindString(html))
			}
		}
		if strings.Contains(html, "NaN") || strings.Contains(html, "Inf") {
			t.Errorf("%s: a number that is none", path)
		}
	}
}

// A run that a gate ended shows what it did not come to.
func TestStagesOfACutRun(t *testing.T) {
	d := webtest.Scene("worn")
	d.Change(func(s *webtest.Show) {
		r := s.Records["r1"]
		r.Finished = []record.Step{record.StepPrepare, record.StepRepeat, record.StepAnalysis}
		s.Records["r1"] = r
	})
	html := get(t, handler(d), "/run/r1/results").Body.String()
	for label, state := range map[string]string{"prepare": "done", "measure": "cut", "decide": "now"} {
		if !regexp.MustCompile(`<li class="` + state + `"[^>]*><a href="[^"]*">` + regexp.QuoteMeta(label) + `</a>`).MatchString(html) {
			t.Errorf("%s is not %s", label, state)
		}
	}
}

// A first view stays small, and so does each picture.
func TestSizes(t *testing.T) {
	svg := regexp.MustCompile(`(?s)<svg.*?</svg>`)
	everyScreen(t, func(t *testing.T, scene, path, html string) {
		if len(html) > 150_000 {
			t.Errorf("%d bytes", len(html))
		}
		for _, s := range svg.FindAllString(html, -1) {
			if len(s) > 40_000 {
				t.Errorf("a picture of %d bytes: %.80s", len(s), s)
			}
		}
	})
}

func TestAssets(t *testing.T) {
	h := handler(webtest.Scene("ready"))
	html := get(t, h, "/").Body.String()
	for _, m := range regexp.MustCompile(`"(/static/[^"]+)"`).FindAllStringSubmatch(html, -1) {
		w := get(t, h, m[1])
		if w.Code != 200 || !strings.Contains(w.Header().Get("Cache-Control"), "immutable") {
			t.Errorf("%s: %d, %q", m[1], w.Code, w.Header().Get("Cache-Control"))
		}
	}
	if w := get(t, h, "/static/../page.go"); w.Code == 200 {
		t.Error("served from outside static")
	}
}

// The screens that look over several runs say what changed with its doubt, refuse
// what cannot be foretold with what to measure, and say what was typed wrongly.
func TestLooks(t *testing.T) {
	d := webtest.Scene("done")
	h := handler(d)
	for path, wants := range map[string][]string{
		"/runs":                        {"Last changed with the run", "since the run before", "0.29 ±0.11", "<svg", "/run/r0/since/r2"},
		"/run/r1/since/r0":             {"changed", "Cold against hot", "beam-twist", "cannot be compared", "1.07 times"},
		"/run/r1/elsewhere?x=0&y=40":   {"Read the roll at the head", "Measure again once the probe is there", "So near to the nozzle no probe finds room"},
		"/run/r1/elsewhere?x=0&y=much": {"much"},
		"/run/r1/elsewhere?x=0":        {"A probe offset is two lengths."},
		"/run/r1/results":              {"/run/r1/elsewhere"},
	} {
		w := ask(t, h, "GET", path, "")
		for _, want := range wants {
			if !strings.Contains(w.Body.String(), want) {
				t.Errorf("%s does not say %q", path, want)
			}
		}
	}
	if w := ask(t, h, "GET", "/run/r1/since/nobody", ""); w.Code != 404 {
		t.Errorf("since nobody: %d", w.Code)
	}
	d.Change(func(s *webtest.Show) {
		a := s.Analyses["r1"]
		a.Wedge = &api.Wedge{Sentence: "From left to right a wedge.", Next: "Run the whole job."}
		s.Analyses["r1"] = a
		s.Runs[1].State, s.Runs[1].Touches, s.Runs[1].Began = api.Done, 9, s.Runs[0].Began.Add(-time.Hour)
	})
	if w := ask(t, h, "GET", "/run/r1/results", ""); !strings.Contains(w.Body.String(), "/run/r1/since/r0") {
		t.Error("no earlier run is offered for comparison")
	}
	if w := ask(t, h, "GET", "/run/r1/results", ""); !strings.Contains(w.Body.String(), "From left to right a wedge.") {
		t.Error("the five-minute answer is not shown")
	}
}

// TestGaugedLater: where a run names a place to gauge, a button starts the run that
// does it; either run's screen names the other, and one that was dropped is no link.
func TestGaugedLater(t *testing.T) {
	h := handler(webtest.Scene("later"))
	for path, c := range map[string]struct{ has, not []string }{
		"/run/r1/results": {has: []string{`name="for" value="r1"`, "Take more readings", "4 readings, about ", `href="/run/r2/results"`, "<b>contradicts this one</b>", "<b>was a slip</b>", "The 5 readings of the run of", "gauged later, X", `href="/run/r4"`, "The run waits for you to start it."}, not: []string{`href="/run/gone`, "The readings of this run count in"}},
		"/run/r2/results": {has: []string{"The readings of this run count in", `href="/run/r1/results"`}, not: []string{`name="for"`}},
		"/run/r3/results": {has: []string{"an earlier run, which is not kept any more"}, not: []string{"/run/dropped"}},
		"/run/r2":         {has: []string{"See this run alone", `href="/run/r1/results"`}},
		"/runs": {has: []string{`More readings in the <a href="/run/r2/results">run of `, `</time></a> (done), <a href="/run/r4">run of `, "</time></a> (waits for you to start it)",
			`More readings for the <a href="/run/r1/results">run of `, "More readings for an earlier run, which is not kept any more"}, not: []string{"/run/dropped"}},
		"/":       {has: []string{`More readings for the <a href="/run/r1/results">run of `, "More readings for an earlier run, which is not kept any more"}},
		"/run/r4": {has: []string{"This run adds readings to"}},
	} {
		html := get(t, h, path).Body.String()
		for _, s := range c.has {
			if !strings.Contains(html, s) {
				t.Errorf("%s: without %q", path, s)
			}
		}
		for _, s := range c.not {
			if strings.Contains(html, s) {
				t.Errorf("%s: with %q", path, s)
			}
		}
	}
	d := webtest.Scene("later")
	d.Change(func(s *webtest.Show) {
		s.Past.Runs = []api.Entry{{Run: "r1", Began: s.Runs[0].Began, Later: []string{"r2"}}}
	})
	if html := get(t, handler(d), "/runs").Body.String(); !strings.Contains(html, `More readings in the <a href="/run/r2/results">run of `) {
		t.Error("the history does not say that a run was gone on with")
	}
	if html := get(t, handler(webtest.Scene("done")), "/run/r1/results").Body.String(); strings.Contains(html, "Take more readings") {
		t.Error("a run to which nothing is open asks for more")
	}
}

// TestRoomSaysNotVerified: in the list of all printers a correction that was not verified is
// not told as one that was.
func TestRoomSaysNotVerified(t *testing.T) {
	d := webtest.Scene("room")
	for _, proved := range []bool{false, true} {
		d.Change(func(s *webtest.Show) { s.Room[0].Proved = proved })
		if got := strings.Contains(get(t, handler(d), "/room").Body.String(), "in force, not verified"); got == proved {
			t.Errorf("verified %v: it says not verified: %v", proved, got)
		}
	}
}
