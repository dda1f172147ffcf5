package page

import (
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// TestDoor is who is let in. Who is not gets a status, and not a word. Hosts are written as a browser does;
// rows of names pointed at this machine (DNS rebinding) are any name but localhost.
func TestDoor(t *testing.T) {
	s := serve(t)
	port := s.host[strings.LastIndex(s.host, ":")+1:]
	type row struct {
		name, method, path, host string
		header                   []string
		status                   int
	}
	for _, r := range []row{
		{"the page", "GET", s.path, s.host, nil, 200},
		{"HEAD", "HEAD", s.path, s.host, nil, 200},
		{"by name", "GET", s.path, "localhost:" + port, nil, 200},
		{"by name in capitals", "GET", s.path, "LOCALHOST:" + port, nil, 200},
		{"state", "GET", s.path + "state", s.host, nil, 200},
		{"question", "GET", s.path + "drawings?n=3", s.host, nil, 200},
		{"no slash", "GET", strings.TrimSuffix(s.path, "/"), s.host, nil, 308},
		{"own origin", "GET", s.path + "state", s.host, []string{"Origin: http://" + s.host, "Sec-Fetch-Site: same-origin"}, 200},
		{"typed", "GET", s.path, s.host, []string{"Sec-Fetch-Site: none"}, 200},
		{"link in a message", "GET", s.path, s.host, []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"}, 200},

		{"no token", "GET", "/", s.host, nil, 404},
		{"no token, state", "GET", "/state", s.host, nil, 404},
		{"no token, post", "POST", "/upload", s.host, nil, 404},
		{"other token", "GET", "/AAAAAAAAAAAAAAAAAAAAAA/", s.host, nil, 404},
		{"token cut", "GET", s.path[:len(s.path)-2] + "/", s.host, nil, 404},
		{"token longer", "GET", strings.TrimSuffix(s.path, "/") + "A/", s.host, nil, 404},
		{"token in other letters", "GET", swapCase(s.path), s.host, nil, 404},
		{"token as a question", "GET", "/?token=" + strings.Trim(s.path, "/"), s.host, nil, 404},
		{"token behind", "GET", "/state" + s.path, s.host, nil, 404},
		{"token twice", "GET", "/" + s.path, s.host, nil, 404},

		{"name pointed here", "GET", s.path, "sky.example:" + port, nil, 403},
		{"name like ours", "GET", s.path, "localhost.sky.example:" + port, nil, 403},
		{"number in a name", "GET", s.path, "127.0.0.1.sky.example:" + port, nil, 403},
		{"other number", "GET", s.path, "127.0.0.2:" + port, nil, 403},
		{"number in other notation", "GET", s.path, "2130706433:" + port, nil, 403},
		{"other port", "GET", s.path, "127.0.0.1:1", nil, 403},
		{"no port", "GET", s.path, "127.0.0.1", nil, 403},
		{"empty host", "GET", s.path, "", nil, 403},
		{"foreign host, no token", "GET", "/", "sky.example", nil, 403},

		{"foreign origin", "GET", s.path + "state", s.host, []string{"Origin: http://sky.example"}, 403},
		{"foreign origin, post", "POST", s.path + "upload", s.host, []string{"Origin: http://sky.example"}, 403},
		{"origin on another port", "POST", s.path + "upload", s.host, []string{"Origin: http://127.0.0.1:1"}, 403},
		{"origin with https", "POST", s.path + "upload", s.host, []string{"Origin: https://" + s.host}, 403},
		{"origin of nobody", "POST", s.path + "upload", s.host, []string{"Origin: null"}, 403},
		{"origin of nobody, elsewhere", "POST", s.path + "upload", s.host, []string{"Origin: null", "Sec-Fetch-Site: cross-site"}, 403},
		{"two origins", "POST", s.path + "upload", s.host, []string{"Origin: http://" + s.host, "Origin: http://sky.example"}, 403},
		{"sent from elsewhere", "GET", s.path + "state", s.host, []string{"Sec-Fetch-Site: cross-site"}, 403},
		{"sent from next door", "GET", s.path + "state", s.host, []string{"Sec-Fetch-Site: same-site"}, 403},
		{"in a frame", "GET", s.path, s.host, []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: iframe"}, 403},
		{"form elsewhere", "POST", s.path + "upload", s.host, []string{"Sec-Fetch-Site: cross-site", "Sec-Fetch-Mode: navigate", "Sec-Fetch-Dest: document"}, 403},

		{"up", "GET", s.path + "../", s.host, nil, 404},
		{"up and back", "GET", s.path + "../" + strings.Trim(s.path, "/") + "/state", s.host, nil, 404},
		{"file", "GET", s.path + "../../../etc/passwd", s.host, nil, 404},
		{"file, escaped", "GET", s.path + "..%2f..%2f..%2fetc%2fpasswd", s.host, nil, 404},
		{"file, escaped twice", "GET", s.path + "..%252f..%252fetc%252fpasswd", s.host, nil, 404},
		{"file, other slashes", "GET", s.path + `..\..\etc\passwd`, s.host, nil, 404},
		{"escaped letter", "GET", s.path + "%73tate", s.host, nil, 404},
		{"end of a C string", "GET", s.path + "state%00", s.host, nil, 404},
		{"two slashes", "GET", s.path + "/state", s.host, nil, 404},
		{"slash behind", "GET", s.path + "state/", s.host, nil, 404},
		{"the session", "GET", s.path + "session.json", s.host, nil, 404},
		{"the link", "GET", s.path + linkFile, s.host, nil, 404},
		{"an upload", "GET", s.path + "inbox" + "/", s.host, nil, 404},
		{"sources", "GET", s.path + "web/index.html", s.host, nil, 404},

		{"get upload", "GET", s.path + "upload", s.host, nil, 405},
		{"get settle", "GET", s.path + "settle", s.host, nil, 405},
		{"post state", "POST", s.path + "state", s.host, nil, 405},
		{"delete", "DELETE", s.path + "state", s.host, nil, 405},
		{"put", "PUT", s.path + "upload", s.host, nil, 405},
		{"asked beforehand by another page", "OPTIONS", s.path + "upload", s.host, []string{"Origin: http://sky.example", "Access-Control-Request-Method: POST"}, 403},
		{"trace", "TRACE", s.path, s.host, nil, 405},
		{"options of the server", "OPTIONS", "*", s.host, nil, 404},
		{"through us to elsewhere", "CONNECT", "sky.example:80", s.host, nil, 403},
		{"elsewhere in full", "GET", "http://sky.example" + s.path, s.host, nil, 403},
	} {
		t.Run(r.name, func(t *testing.T) {
			request := r.method + " " + r.path + " HTTP/1.1\r\nHost: " + r.host + "\r\nConnection: close\r\n"
			for _, h := range r.header {
				request += h + "\r\n"
			}
			head, body, _ := strings.Cut(s.raw(request+"\r\n"), "\r\n\r\n")
			var status int
			if n, _ := strings.CutPrefix(head, "HTTP/1.1 "); len(n) > 3 {
				for _, d := range n[:3] {
					status = status*10 + int(d-'0')
				}
			}
			if status != r.status {
				t.Errorf("answered %d, want %d:\n%s", status, r.status, head)
			}
			if status >= 300 && strings.Trim(body, "\r\n0") != "" {
				t.Errorf("said %q", body)
			}
			if refused := status == 403 || status == 404 && !strings.HasPrefix(r.path, s.path); refused && strings.Contains(head, strings.Trim(s.path, "/")) {
				t.Errorf("gave the token away:\n%s", head)
			}
			for name, value := range safety {
				if !strings.Contains(head, "\r\n"+http.CanonicalHeaderKey(name)+": "+value) {
					t.Errorf("without %s: %s\n%s", name, value, head)
				}
			}
			if strings.Contains(head, "Access-Control-") {
				t.Errorf("lets another page in:\n%s", head)
			}
		})
	}
}

func swapCase(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z':
			return r - 'a' + 'A'
		case r >= 'A' && r <= 'Z':
			return r - 'A' + 'a'
		}
		return r
	}, s)
}

// TestStrictPolicy: the page may load nothing from elsewhere, run nothing written into it, and be framed by
// nobody. The directives are those of Content Security Policy Level 3 (W3C).
func TestStrictPolicy(t *testing.T) {
	policy := map[string]string{}
	for _, d := range strings.Split(safety["Content-Security-Policy"], ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(d), " ")
		policy[name] = value
	}
	for name, want := range map[string]string{
		"default-src": "'none'", "script-src": "'self'", "style-src": "'self'", "connect-src": "'self'",
		"form-action": "'self'", "frame-ancestors": "'none'", "base-uri": "'none'", // these three do not fall back to default-src
	} {
		if policy[name] != want {
			t.Errorf("%s %s, want %s", name, policy[name], want)
		}
	}
	for name, value := range policy {
		if strings.Contains(value, "unsafe") || strings.Contains(value, "http") || strings.Contains(value, "*") {
			t.Errorf("%s allows %s", name, value)
		}
	}
}

// TestTokens are long, of a URL's own letters, and no two alike.
func TestTokens(t *testing.T) {
	seen := map[string]bool{}
	for range 1000 {
		k := newToken()
		if seen[k] {
			t.Fatalf("%s twice", k)
		}
		seen[k] = true
		// 128 bits need 22 letters of 64: RFC 4648, section 5.
		if len(k) != 22 || url.PathEscape(k) != k {
			t.Errorf("token %s", k)
		}
	}
}

// TestAstray: who mistypes the link in a browser gets a dark page with a way out, and no word of what lies behind it; a script
// gets nothing.
func TestAstray(t *testing.T) {
	s := serve(t)
	for _, path := range []string{"/", "/" + strings.Repeat("A", 22) + "/", s.path[:len(s.path)-2] + "/", s.path + "nowhere"} {
		for accept, want := range map[string]bool{"text/html,application/xhtml+xml": path != s.path+"nowhere", "*/*": false} {
			r, err := http.NewRequest(http.MethodGet, "http://"+s.host+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Accept", accept)
			resp, err := client.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			text, _ := io.ReadAll(resp.Body)
			resp.Body.Close()
			if told := strings.Contains(string(text), "Scan the code once more"); resp.StatusCode != http.StatusNotFound || told != want {
				t.Errorf("%s, %s: %s, %q", path, accept, resp.Status, text)
			}
			if want && (!strings.Contains(string(text), `bgcolor="#000000"`) || resp.Header.Get("Content-Security-Policy") == "") {
				t.Errorf("%s: not dark, or not safe: %q", path, text)
			}
		}
	}
}
