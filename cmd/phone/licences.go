//go:build !js

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"trueturn/cmd/markup"
)

// licence is what a part of the page may be used under.
type licence struct{ Of, Text string }

// module is one of `go list -json`.
type module struct {
	Module *struct {
		Path, Version, Dir string
		Main               bool
	}
	Standard bool
}

// licences are those of the toolchain and of all modules the engine is made of, by their own files.
func licences(ctx context.Context) ([]licence, error) {
	c := exec.CommandContext(ctx, "go", "list", "-deps", "-json=Module,Standard", "trueturn/cmd/phone")
	c.Env = append(os.Environ(), "GOOS=js", "GOARCH=wasm")
	text, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	dirs := map[string]string{}
	for d := json.NewDecoder(strings.NewReader(string(text))); ; {
		var m module
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, err
		}
		if m.Module != nil && !m.Module.Main {
			dirs[m.Module.Path+" "+m.Module.Version] = m.Module.Dir
		}
	}
	goText, err := toolchainFile(ctx, "LICENSE")
	if err != nil {
		return nil, err
	}
	stars, err := exec.CommandContext(ctx, "go", "list", "-f", "{{.Dir}}", "trueturn/ephem/catalog").Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	starText, err := licenceIn(strings.TrimSpace(string(stars)))
	if err != nil {
		return nil, err
	}
	all := []licence{{"Go, its library and wasm_exec.js", string(goText)}, {"The stars: Hipparcos (ESA, 1997), by way of d3-celestial 0.7.35", starText}}
	for of, dir := range dirs {
		text, err := licenceIn(dir)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", of, err)
		}
		all = append(all, licence{of, text})
	}
	slices.SortFunc(all[2:], func(a, b licence) int { return strings.Compare(a.Of, b.Of) })
	return all, nil
}

// licenceIn is the licence in a module's folder.
func licenceIn(dir string) (string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "", err
	}
	for _, e := range entries {
		if name := strings.ToUpper(e.Name()); strings.HasPrefix(name, "LICENSE") || strings.HasPrefix(name, "LICENCE") || strings.HasPrefix(name, "COPYING") {
			text, err := os.ReadFile(filepath.Join(dir, e.Name()))
			return string(text), err
		}
	}
	return "", errors.New("no licence in its folder")
}

func licencesInline(all []licence) markup.Safe {
	p := &markup.Page{}
	p.Block("details", func() {
		p.Element("summary", "Licences of all that is in this page")
		terms(p, all)
	})
	return markup.Safe(p.String())
}

func terms(p *markup.Page, all []licence) {
	for _, l := range all {
		p.Element("h3", l.Of)
		for _, part := range strings.Split(strings.TrimSpace(l.Text), "\n\n") {
			p.Element("p", strings.Join(strings.Fields(part), " "))
		}
	}
}

func licencesPage(all []licence) []byte {
	p := &markup.Page{}
	p.Raw(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="dark">
`)
	p.Raw(policy(folderPolicy))
	p.Raw(`<link rel="stylesheet" href="page.css">
<title>Licences</title>
</head>
<body bgcolor="#000000" text="#ff3820" link="#ff3820">
<main>
<h1>Licences</h1>
<p><a href="./">Back</a></p>
`)
	terms(p, all)
	p.Raw("</main>\n</body>\n</html>\n")
	return []byte(p.String())
}
