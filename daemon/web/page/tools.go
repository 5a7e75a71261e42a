package page

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"abbed/daemon/api"
)

// toolsView is what is done beside the machine after a run.
type toolsView struct {
	Run    api.Run
	Repair *api.Repair
	Print  *api.ProofPrint
	// NoPrint and NoRepair say why there is none.
	NoPrint, NoRepair *api.Error
	Proof             *api.Proof
	Measures          url.Values // as typed
	Mended            []mended
	Typed             map[string]string // readings as they were typed, by the field's name
}

func (p *page) tools(w http.ResponseWriter, r *http.Request) { p.showTools(w, r, nil, nil) }

// showTools shows the desk of a run, perhaps with what its patches prove.
func (p *page) showTools(w http.ResponseWriter, r *http.Request, notice *api.Error, proof *api.Proof) {
	id := r.PathValue("id")
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Tools and proof print")
	s.Here, s.Notice = "/run/"+id+"/tools", notice
	v := toolsView{Run: run, Proof: proof, Typed: map[string]string{}, Mended: p.mendedSince(run)}
	for name := range r.PostForm {
		v.Typed[name] = r.PostFormValue(name)
	}
	v.Measures = r.URL.Query()
	ask, bad := measuresOf(v.Measures)
	if bad != nil {
		s.Notice = bad
	}
	v.Repair, v.NoRepair = got[api.Repair](p, r)(p.desk.Repair(id, ask))
	v.Print, v.NoPrint = got[api.ProofPrint](p, r)(p.desk.ProofPrint(api.AskPrint{Run: id}))
	s.View = v
	p.show(w, r, "tools", s)
}

// proofFile serves the G-code of a proof print.
func (p *page) proofFile(w http.ResponseWriter, r *http.Request) {
	f, err := p.desk.ProofPrint(api.AskPrint{Run: r.PathValue("id"), InForce: r.URL.Query().Get("in_force")})
	if err != nil {
		p.refused(w, r, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/plain; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="abbed-proof-`+f.Plan+`.gcode"`)
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte(f.File))
}

// worksheet serves the sheet on A4, or with ?paper=letter on Letter. Its style
// stands within, so that the policy names that style and allows nothing else.
func (p *page) worksheet(w http.ResponseWriter, r *http.Request) {
	f, err := p.desk.ProofPrint(api.AskPrint{Run: r.PathValue("id"), InForce: r.URL.Query().Get("in_force")})
	if err != nil {
		p.refused(w, r, err)
		return
	}
	text := f.A4
	if strings.EqualFold(r.URL.Query().Get("paper"), "letter") {
		text = f.Letter
	}
	_, style, _ := strings.Cut(text, "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	h := w.Header()
	h.Set("Content-Security-Policy", onlyStyle(style))
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte(text))
}

// doThickness takes what was typed: readings or a tick for gaps at each patch, or a
// file's text with its own header.
func (p *page) doThickness(w http.ResponseWriter, r *http.Request) {
	t := api.Thickness{Plan: r.PostFormValue("plan"), CSV: strings.TrimSpace(r.PostFormValue("file")), InForce: r.PostFormValue("in_force"), Person: p.who(r)}
	var err error
	if t.CSV == "" {
		t.Readings, err = readingsOf(r)
	}
	var proof api.Proof
	if err == nil {
		proof, err = p.desk.Thickness(r.Context(), r.PathValue("id"), t, p.who(r))
	}
	if err != nil {
		p.showTools(w, r, p.refusal(r, err), nil)
		return
	}
	p.showTools(w, r, nil, &proof)
}

// mostPatches is up to which number fields of patches are looked for.
const mostPatches = 2 * 15

// readingsOf reads the fields a3, b3, c3 and gaps3 of patch 3, and so on.
func readingsOf(r *http.Request) (out []api.ThicknessReading, err error) {
	for n := 1; n <= mostPatches; n++ {
		k := strconv.Itoa(n)
		if r.PostFormValue("gaps"+k) != "" {
			out = append(out, api.ThicknessReading{Patch: n, Gaps: true})
			continue
		}
		for _, field := range []string{"a", "b", "c"} {
			v, bad := decimal(r.PostFormValue(field + k))
			if bad != nil {
				return nil, bad
			}
			if v != nil {
				out = append(out, api.ThicknessReading{Patch: n, Thickness: *v})
			}
		}
	}
	return out, nil
}
