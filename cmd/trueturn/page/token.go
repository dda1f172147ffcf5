package page

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"trueturn/cmd/trueturn/files"
	"trueturn/cmd/trueturn/page/disk"
)

// tokenBytes make guessing hopeless: 128 bits.
const tokenBytes = 16

// link is what the URL is made of beside the machine's address. It is kept with the session, for
// the owner's eyes alone, so that browsers find their way back after a restart.
type link struct {
	Token string `json:"token"`
	Port  uint16 `json:"port"`
}

const linkFile = "link.json"

// readLink is the link a session had; the zero link where there is none worth keeping.
func readLink(dir string) link {
	raw, err := os.ReadFile(filepath.Join(dir, linkFile))
	if err != nil || len(raw) > 1<<10 {
		return link{}
	}
	var l link
	if json.Unmarshal(raw, &l) != nil {
		return link{}
	}
	if b, err := base64.RawURLEncoding.DecodeString(l.Token); err != nil || len(b) != tokenBytes {
		l.Token = ""
	}
	return l
}

// keepLink is the link a session had, or a new one, kept for the next time with the port it has now.
func keepLink(dir string, port uint16) (link, error) {
	l := readLink(dir)
	if l.Token == "" {
		l.Token = newToken()
	}
	l.Port = port
	if err := l.write(dir); err != nil {
		return l, disk.CannotKeep(err)
	}
	return l, nil
}

// write keeps the link, for its owner alone.
func (l link) write(dir string) error {
	return files.Write(filepath.Join(dir, linkFile), 0o600, func(w io.Writer) error { return json.NewEncoder(w).Encode(l) })
}

func newToken() string {
	b := make([]byte, tokenBytes)
	rand.Read(b) // never fails: crypto/rand
	return base64.RawURLEncoding.EncodeToString(b)
}

// guard lets pass who has the link, and nobody a browser was sent here by. It hides the token
// from what comes after.
type guard struct {
	token string
	next  http.Handler
}

// ServeHTTP answers what it refuses with a status alone, and ends the connection: idle strangers
// shall hold none.
func (g guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	status := 0
	token, rest, slash := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	switch {
	case !ownHost(r):
		status = http.StatusForbidden
	case subtle.ConstantTimeCompare([]byte(token), []byte(g.token)) != 1:
		status = http.StatusNotFound
	case !ownOrigin(r):
		status = http.StatusForbidden
	case r.URL.EscapedPath() != r.URL.Path: // no route needs escapes
		status = http.StatusNotFound
	}
	if status != 0 {
		refuseBody(w)
		if wants(r) && status == http.StatusNotFound {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.WriteHeader(status)
			w.Write([]byte(astrayPage)) // an error means that nobody listens any more
			return
		}
		w.WriteHeader(status)
		return
	}
	if !slash {
		w.Header().Set("Location", "/"+g.token+"/")
		w.WriteHeader(http.StatusPermanentRedirect)
		return
	}
	within := *r
	within.URL = &url.URL{Path: rest, RawQuery: r.URL.RawQuery}
	g.next.ServeHTTP(w, &within)
}

// astrayPage is for who has mistyped the link: dark, and nothing about what there is behind it.
const astrayPage = `<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="color-scheme" content="dark"><meta name="viewport" content="width=device-width, initial-scale=1"><title>Not the link</title></head>
<body bgcolor="#000000" text="#ff3820"><h1>This is not the whole link</h1>
<p>A part of it is missing, or mistyped. Scan the code once more, or copy the link from the computer as it stands there: its last word is a long one of letters and figures.</p>
</body></html>
`

// wants is whether somebody is looking, not a script asking.
func wants(r *http.Request) bool {
	return r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html")
}

// ownHost is whether a request was meant for the very address it came in by. A name that
// somebody pointed here (DNS rebinding) never is; "localhost" is this machine by RFC 6761.
func ownHost(r *http.Request) bool {
	local, ok := r.Context().Value(http.LocalAddrContextKey).(*net.TCPAddr)
	if !ok {
		return false
	}
	here := local.AddrPort()
	host, port := r.Host, "80"
	if h, p, err := net.SplitHostPort(r.Host); err == nil {
		host, port = h, p
	}
	if port != strconv.Itoa(int(here.Port())) {
		return false
	}
	if strings.EqualFold(host, "localhost") {
		return here.Addr().Unmap().IsLoopback()
	}
	a, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return err == nil && a.Unmap() == here.Addr().Unmap()
}

// ownOrigin is whether the page itself asks, or the user by following or typing the link.
func ownOrigin(r *http.Request) bool {
	site := r.Header.Get("Sec-Fetch-Site")
	for _, origin := range r.Header.Values("Origin") {
		// A form of a page that keeps its address to itself says null.
		if origin != "http://"+r.Host && (origin != "null" || site != "same-origin") {
			return false
		}
	}
	switch site {
	case "", "none", "same-origin":
		return true
	}
	// The link may be followed from elsewhere, from a message say: the reader sees the page, whoever sent it nothing.
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}
