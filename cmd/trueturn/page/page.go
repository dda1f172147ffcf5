// Package page is the live page: pictures come in from a folder and from browsers, and every
// browser sees at once what to turn.
//
// Start with Open and Serve. One picture goes
//
//	inbox (upload.go) or watched folder → bench (measures, writes down, asks the guide) → board → events.go → browsers
//
// and never back. The board holds the latest word alone, so a slow browser holds up nobody.
package page

import (
	"io"
	"time"

	"trueturn/align/guide"
	"trueturn/drift"
)

// Options say what to serve and where. The zero value serves a session in the working directory
// to this machine alone.
type Options struct {
	Listen     string        // host:port as for net.Listen; "": 127.0.0.1 and a free port
	Dir        string        // folder watched for pictures; "": none, uploads alone
	SessionDir string        // where the session is kept; "": trueturn-session in Dir
	Poll       time.Duration // how often Dir is looked through, 0: 2 s

	Measure drift.Options
	Guide   guide.Options // Answer.Site nil: the pictures' own place
	FNumber float64       // of the lens, for a rule of thumb in the report; 0: the pictures' own

	Title   string    // of the evening, for the page and the report; may be ""
	Version string    // of the program, for the report
	Notes   io.Writer // what the one at the keyboard should know, a line each; nil: nobody
}
