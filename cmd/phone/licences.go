//go:build !js

package main

import (
	"context"
	"strings"

	"trueturn/cmd/licence"
	"trueturn/cmd/markup"
)

// licences are those of all that the engine is made of.
func licences(ctx context.Context) ([]licence.Licence, error) {
	return licence.Collect(ctx, licence.Program{Package: "trueturn/cmd/phone", OS: "js", Arch: "wasm"})
}

func licencesInline(all []licence.Licence) markup.Safe {
	p := &markup.Page{}
	p.Block("details", func() {
		p.Element("summary", "Licences of all that is in this page")
		terms(p, all)
	})
	return markup.Safe(p.String())
}

func terms(p *markup.Page, all []licence.Licence) {
	for _, l := range all {
		p.Element("h3", l.Of)
		for _, part := range strings.Split(strings.TrimSpace(l.Text), "\n\n") {
			p.Element("p", strings.Join(strings.Fields(part), " "))
		}
	}
}

func licencesPage(all []licence.Licence) []byte {
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
