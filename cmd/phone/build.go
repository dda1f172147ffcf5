//go:build !js

package main

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"trueturn/cmd/licence"
	"trueturn/cmd/markup"
	"trueturn/cmd/session"
)

//go:embed web/store.js
var storeJS string

//go:embed web/line.js
var lineJS string

//go:embed web/worker.js
var workerJS string

//go:embed web/sw.js
var serviceJS string

// onePage is the whole in one file.
const onePage = "trueturn.html"

// build is the static folder by the names of its files, trueturn.html among them. It runs the Go command.
func build(ctx context.Context) (map[string][]byte, error) {
	engine, err := compiled(ctx)
	if err != nil {
		return nil, err
	}
	glue, err := toolchainFile(ctx, filepath.Join("lib", "wasm", "wasm_exec.js"))
	if err != nil {
		return nil, err
	}
	terms, err := licences(ctx)
	if err != nil {
		return nil, err
	}
	small, large, err := icons()
	if err != nil {
		return nil, err
	}
	one, err := oneFile(engine, string(glue), terms)
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{
		"index.html":           folderIndex(),
		"page.css":             session.Stylesheet(),
		"page.js":              session.Script(),
		"line.js":              []byte(storeJS + lineJS),
		"worker.js":            []byte(string(glue) + "\n" + storeJS + workerJS),
		"engine.wasm":          engine,
		"licences.html":        licencesPage(terms),
		"manifest.webmanifest": manifest(),
		"icon-192.png":         small,
		"icon-512.png":         large,
	}
	files["sw.js"] = service(files)
	files[onePage] = one
	return files, nil
}

// compiled is the engine for the browser.
func compiled(ctx context.Context) ([]byte, error) {
	dir, err := os.MkdirTemp("", "trueturn-phone-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	out := filepath.Join(dir, "engine.wasm")
	c := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags=-s -w", "-o", out, "trueturn/cmd/phone")
	c.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm", "CGO_ENABLED=0")
	if text, err := c.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("go build: %w\n%s", err, text)
	}
	return os.ReadFile(out)
}

// toolchainFile is one of the toolchain that compiles.
func toolchainFile(ctx context.Context, name string) ([]byte, error) {
	root, err := exec.CommandContext(ctx, "go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("go env: %w", err)
	}
	return os.ReadFile(filepath.Join(strings.TrimSpace(string(root)), name))
}

// folderPolicy is what a page of the folder may do: nothing outside its own origin.
const folderPolicy = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; worker-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self' blob:; manifest-src 'self'; base-uri 'none'; form-action 'none'"

func policy(p string) markup.Safe {
	return markup.Safe(`<meta http-equiv="Content-Security-Policy" content="` + p + "\">\n")
}

func folderIndex() []byte {
	head := policy(folderPolicy) + `<link rel="manifest" href="manifest.webmanifest">
<link rel="apple-touch-icon" href="icon-192.png">
`
	return session.Index(session.Look{Title: title, Head: head, Own: own(`<p><a href="licences.html">Licences</a> of all that is in this page.</p>`)})
}

const title = "trueturn"

// own is what the phone's page has besides: what it can do where, the session as a file, the licences.
func own(terms markup.Safe) markup.Safe {
	return `<section aria-label="On this phone">
<details>
<summary>On this phone: what is kept, and where</summary>
<ul role="list">
<li>Nothing leaves this phone. Pictures are measured here, and put away when they are.</li>
<li>From an https address the page can be installed and works without a network. From a file it works too; the session is kept where the browser keeps it.</li>
<li>In a private window nothing is kept: save the session before you close it, and open it again later.</li>
<li>The session is the same file that trueturn live keeps on a computer, journal.jsonl in its folder, and may go either way.</li>
</ul>
` + terms + `
</details>
</section>
`
}

// service is the service worker, which knows all files and when one of them changed.
func service(files map[string][]byte) []byte {
	names := slices.Sorted(maps.Keys(files))
	sum := sha256.New()
	for _, name := range names {
		fmt.Fprintf(sum, "%s %x\n", name, sha256.Sum256(files[name]))
	}
	list, err := json.Marshal(append([]string{"./"}, names...))
	if err != nil {
		panic(err) // strings
	}
	return []byte(strings.NewReplacer("VERSION", hex.EncodeToString(sum.Sum(nil)[:8]), "FILES", string(list)).Replace(serviceJS))
}

func manifest() []byte {
	return []byte(`{
 "name": "trueturn", "short_name": "trueturn", "start_url": "./", "scope": "./", "display": "standalone", "lang": "en",
 "description": "From pictures of any stars: which way to turn the mount, and how long stars stay round.",
 "background_color": "#000000", "theme_color": "#000000",
 "icons": [{"src": "icon-192.png", "sizes": "192x192", "type": "image/png"}, {"src": "icon-512.png", "sizes": "512x512", "type": "image/png", "purpose": "any maskable"}]
}
`)
}

// oneFile is the page with everything in it. Its policy names each script and the style by their hashes; the worker is made
// from a blob.
func oneFile(engine []byte, glue string, terms []licence.Licence) ([]byte, error) {
	var packed bytes.Buffer
	zip, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err == nil {
		_, err = zip.Write(engine)
	}
	if err == nil {
		err = zip.Close()
	}
	if err != nil {
		return nil, err
	}
	style, line, page := "\n"+string(session.Stylesheet()), storeJS+lineJS, string(session.Script())
	rules := fmt.Sprintf("default-src 'none'; script-src %s %s 'wasm-unsafe-eval'; worker-src blob:; style-src %s; img-src data: blob:; base-uri 'none'; form-action 'none'", hashed(line), hashed(page), hashed(style))
	text := string(session.Index(session.Look{Title: title, Head: policy(rules), Own: own(licencesInline(terms))}))
	data := "<script type=\"text/plain\" id=\"worker-code\">" + glue + "\n" + storeJS + workerJS + "</script>\n" +
		"<script type=\"text/plain\" id=\"engine\">" + base64.StdEncoding.EncodeToString(packed.Bytes()) + "</script>\n"
	for _, part := range []string{glue, storeJS, workerJS, lineJS, page} {
		if strings.Contains(part, "</script") {
			return nil, fmt.Errorf("a script would end within itself")
		}
	}
	return []byte(strings.NewReplacer(
		`<link rel="stylesheet" href="page.css">`, "<style>"+style+"</style>",
		`<script src="line.js" defer></script>`+"\n", "",
		`<script src="page.js" defer></script>`+"\n", "",
		"</body>", data+"<script>"+line+"</script>\n<script>"+page+"</script>\n</body>").Replace(text)), nil
}

func hashed(script string) string {
	sum := sha256.Sum256([]byte(script))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}
