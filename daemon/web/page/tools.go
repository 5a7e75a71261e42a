package page

import (
	"crypto/sha256"
	"encoding/base64"
	"net/http"
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
	Measures          measures
	Mended            []mended
	Text              string // of the readings, as typed
}

func (p *page) tools(w http.ResponseWriter, r *http.Request) { p.showTools(w, r, nil, nil, "") }

// showTools shows the desk of a run, perhaps with what its patches prove.
func (p *page) showTools(w http.ResponseWriter, r *http.Request, notice *api.Error, proof *api.Proof, text string) {
	id := r.PathValue("id")
	run, err := p.desk.Run(id)
	if err != nil {
		p.refused(w, r, err)
		return
	}
	s := p.begin(r, "Tools and proof print")
	s.Here, s.Notice = "/run/"+id+"/tools", notice
	v := toolsView{Run: run, Proof: proof, Text: text, Mended: p.mendedSince(run)}
	m, ask, bad := measuresOf(r.URL.Query())
	if v.Measures = m; bad != nil {
		s.Notice = bad
	}
	if a, err := p.desk.Repair(id, ask); err != nil {
		v.NoRepair = p.refusal(r, err)
	} else {
		v.Repair = &a
	}
	if f, err := p.desk.ProofPrint(id); err != nil {
		v.NoPrint = p.refusal(r, err)
	} else {
		v.Print = &f
	}
	s.View = v
	p.show(w, r, "tools", s)
}

// proofFile serves the G-code of a proof print.
func (p *page) proofFile(w http.ResponseWriter, r *http.Request) {
	f, err := p.desk.ProofPrint(r.PathValue("id"))
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
	f, err := p.desk.ProofPrint(r.PathValue("id"))
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
	sum := sha256.Sum256([]byte(style))
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; style-src 'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'")
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write([]byte(text))
}

// doThickness takes what was typed: lines of patch and thickness, or a file's text
// with its own header.
func (p *page) doThickness(w http.ResponseWriter, r *http.Request) {
	if !p.form(w, r) {
		return
	}
	text := strings.TrimSpace(r.PostFormValue("readings"))
	csv := text
	if text != "" && text[0] >= '0' && text[0] <= '9' {
		csv = "patch,thickness\n" + typed(text)
	}
	t := api.Thickness{Plan: r.PostFormValue("plan"), CSV: csv, InForce: r.PostFormValue("in_force"), Person: p.who(r)}
	proof, err := p.desk.Thickness(r.Context(), r.PathValue("id"), t, p.who(r))
	if err != nil {
		p.showTools(w, r, p.refusal(r, err), nil, text)
		return
	}
	p.showTools(w, r, nil, &proof, text)
}

// typed turns lines such as `3 0,214 0,216` into rows of a patch and one reading;
// a comma within a number is a point.
func typed(text string) string {
	var b strings.Builder
	for line := range strings.Lines(text) {
		words := strings.Fields(strings.NewReplacer(";", " ", "\t", " ").Replace(line))
		if len(words) == 1 { // 3,0.214
			words = strings.SplitN(words[0], ",", 2)
		}
		if len(words) == 0 {
			continue
		}
		patch := strings.TrimRight(words[0], ".,:")
		for _, v := range words[1:] {
			b.WriteString(patch + "," + strings.ReplaceAll(v, ",", ".") + "\n")
		}
		if len(words) == 1 {
			b.WriteString(patch + ",\n") // refused with its line
		}
	}
	return b.String()
}
