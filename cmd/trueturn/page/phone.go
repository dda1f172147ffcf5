package page

import (
	"io"
	"net/http"
	"os"
	"strconv"
	"time"

	"trueturn/cmd/markup"
)

// PhoneFile is the name of the page for the phone alone, as cmd/phone builds it and as it is handed out.
const PhoneFile = "trueturn.html"

// phoneAlone is the page's section on it: the file to take along, or how to come by one.
func (p *Page) phoneAlone() markup.Safe {
	way := markup.Safe(`Where Go and trueturn’s source are, <code>go run ./cmd/phone --out DIR</code> builds it; <code>trueturn help phone</code> says more.`)
	if p.o.Phone != "" {
		way = `<a href="` + PhoneFile + `" download>Save ` + PhoneFile + `</a> on the phone and open it there.`
	}
	return `<section aria-label="The phone alone">
<details>
<summary>The phone alone, without a computer or a network</summary>
<p>All of trueturn is also one file for a phone’s browser. ` + way + `</p>
</details>
</section>
`
}

// slowestDownload is what a phone takes, on the whole, in bytes a second; slower ones hold a connection others may want.
const slowestDownload = slowestUpload

// phone hands out the page for the phone alone, as a file to keep: it is not to run here, where it would find the session's own
// address and no engine of its own.
func (p *Page) phone(w http.ResponseWriter, r *http.Request) {
	f, size, err := open(p.o.Phone)
	if err != nil {
		w.WriteHeader(http.StatusNotFound)
		return
	}
	defer f.Close()
	patience := p.limits.grace + time.Duration(size/slowestDownload)*time.Second
	if http.NewResponseController(w).SetWriteDeadline(time.Now().Add(patience)) != nil {
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Content-Disposition", `attachment; filename="`+PhoneFile+`"`)
	h.Set("Content-Length", strconv.FormatInt(size, 10))
	if r.Method != http.MethodHead {
		io.CopyN(w, f, size) // an error means that nobody listens any more, or that the file has shrunk
	}
}

// open opens a file, and says how long it is.
func open(path string) (*os.File, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = os.ErrInvalid
	}
	if err != nil {
		f.Close()
		return nil, 0, err
	}
	return f, info.Size(), nil
}
