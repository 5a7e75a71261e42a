package web

import (
	"net/http"
	"strings"

	"github.com/klauspost/compress/gzhttp"
)

// smallest is the size below which an answer is sent as it is, bytes: it fits
// one packet all the same.
const smallest = 1400

// compressible are the types of our answers that gain by it.
var compressible = []string{"text/html", "text/css", "text/javascript", "text/csv", "text/plain", "image/svg+xml", "application/json"}

// small compresses what is read, for whoever takes gzip (RFC 9110 12.5.3, with
// Vary). Two kinds of answers never are: event streams, which must not wait in
// a buffer; and answers to POST, since the token of a sign-off stands in some
// beside what the sender wrote, and their length would tell of it (A. Prado, N.
// Harris, Y. Gluck, BREACH, 2013; from memory).
func small(next http.Handler) http.Handler {
	wrap, err := gzhttp.NewWrapper(gzhttp.MinSize(smallest), gzhttp.ContentTypes(compressible), gzhttp.EnableZstd(false))
	if err != nil {
		panic(err) // the options are ours
	}
	smaller := wrap(next)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet || strings.HasSuffix(r.URL.Path, "/events") {
			next.ServeHTTP(w, r)
			return
		}
		smaller.ServeHTTP(w, r)
	})
}
