//go:build !js

package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "error: "+err.Error())
		fmt.Fprintln(os.Stderr, "hint: go run ./cmd/phone --out DIR builds the page; --serve 127.0.0.1:8080 shows it on this machine")
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out io.Writer) error {
	fs := flag.NewFlagSet("phone", flag.ContinueOnError)
	fs.SetOutput(io.Discard)
	dir := fs.String("out", "", "folder to build into")
	addr := fs.String("serve", "", "address to serve it at")
	if err := fs.Parse(args); err != nil {
		return err
	}
	if fs.NArg() > 0 || *dir == "" && *addr == "" {
		return errors.New("say where it shall go")
	}
	files, err := build(ctx)
	if err != nil {
		return err
	}
	if *dir != "" {
		if err := write(*dir, files); err != nil {
			return err
		}
		fmt.Fprintf(out, "built %s: a folder for any https host, and %s, all of it in one file of %.1f MB\n", *dir, filepath.Join(*dir, onePage), float64(len(files[onePage]))/1e6)
	}
	if *addr != "" {
		return serve(ctx, *addr, files, out)
	}
	return nil
}

func write(dir string, files map[string][]byte) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// serve shows the folder until ctx ends.
func serve(ctx context.Context, addr string, files map[string][]byte, out io.Writer) error {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "the page, until Ctrl-C: http://%s/\n", l.Addr())
	s := &http.Server{Handler: folder(files), ReadHeaderTimeout: 10 * time.Second}
	defer context.AfterFunc(ctx, func() { s.Close() })()
	if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return nil
}

// kinds are what the files are, by their endings.
var kinds = map[string]string{".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
	".wasm": "application/wasm", ".webmanifest": "application/manifest+json", ".png": "image/png"}

// folder serves built files, as a careful host does.
func folder(files map[string][]byte) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name := r.URL.Path[1:]
		if name == "" {
			name = "index.html"
		}
		content, known := files[name]
		if !known || r.Method != http.MethodGet && r.Method != http.MethodHead {
			w.WriteHeader(http.StatusNotFound)
			return
		}
		h := w.Header()
		h.Set("Content-Type", kinds[filepath.Ext(name)])
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		if name != onePage { // which says its own
			h.Set("Content-Security-Policy", folderPolicy+"; frame-ancestors 'none'")
		}
		h.Set("Cache-Control", "no-cache")
		w.Write(content) // an error means that nobody listens any more
	})
}
