// Package amiss is how everything below the command says that something went wrong: of what kind, what happened, and the
// ways out. Start at [Error].
//
// Nothing here knows how a thing is given: a command line has flags, a page has not. So a way out that needs something given
// names the thing, and the edge that shows it says how it is given there.
package amiss

import (
	"errors"
	"strings"
)

// Error is why something could not be done.
type Error struct {
	Kind error  // for errors.Is; nil: nobody tells it apart
	Text string // what happened: lower case, complete in itself
	Ways []Way  // out, the likeliest first
	From error  // what lay behind; nil: nothing
}

// New is an error whose way out needs nothing given.
func New(kind error, text, act string) error {
	return &Error{Kind: kind, Text: text, Ways: Do(act)}
}

func (e *Error) Error() string { return e.Text }

// Unwrap yields the kind and what lay behind.
func (e *Error) Unwrap() (all []error) {
	for _, err := range []error{e.Kind, e.From} {
		if err != nil {
			all = append(all, err)
		}
	}
	return all
}

// Ways are the ways out an error knows, or nil.
func Ways(err error) []Way {
	var e *Error
	if errors.As(err, &e) {
		return e.Ways
	}
	return nil
}

// Way is one way out: an act that needs nothing given, or a thing to give.
type Way struct {
	When  string `json:"when,omitempty"`  // it is one, as "if GPS is right"; empty: always
	Act   string `json:"act,omitempty"`   // what to do, in words
	Thing Thing  `json:"thing,omitempty"` // what to give or look at; empty: the act is all
	Value string `json:"value,omitempty"` // to give, as the Thing says; empty: the user's to know
}

// Voice words a way out for those it is told to; nil names things and values as they are here.
type Voice func(Way) string

func plain(w Way) string {
	if w.When != "" {
		w.When += ","
	}
	return strings.Join(strings.Fields(strings.Join([]string{w.When, w.Act, string(w.Thing), w.Value}, " ")), " ")
}

// List is ways out in one line; "" where there are none.
func (v Voice) List(ways []Way) string {
	if v == nil {
		v = plain
	}
	var all []string
	for _, w := range ways {
		all = append(all, v(w))
	}
	return strings.Join(all, ", or ")
}

// Reason is an error and its ways out.
func (v Voice) Reason(err error) string {
	if ways := v.List(Ways(err)); ways != "" {
		return err.Error() + ": " + ways
	}
	return err.Error()
}

// Sentences is a text, and each way out in a sentence behind it.
func (v Voice) Sentences(text string, ways []Way) string {
	for _, w := range ways {
		s := v.List([]Way{w})
		text += " " + strings.ToUpper(s[:1]) + s[1:] + "."
	}
	return text
}

// Do is the one way of an act; none of an empty one.
func Do(act string) []Way {
	if act == "" {
		return nil
	}
	return []Way{{Act: act}}
}

// Thing names what can be given.
type Thing string

// The things.
const (
	Air          Thing = "air"            // its temperature and pressure
	Aim          Thing = "aim"            // refracted pole, true pole, or a field
	ClockOffset  Thing = "clock offset"   // of the camera's clock; the value in seconds
	Forecast     Thing = "forecast"       // of the exposures; the value is the axis error in arcminutes
	Lens         Thing = "lens"           // in any of the ways it can be told
	NoSite       Thing = "no site"        // where files have a place
	Pointing     Thing = "pointing"       // where a narrow field looks
	Roll         Thing = "roll"           // the position angle of the picture's upper edge
	Saved        Thing = "saved"          // a session, to be saved anew
	Scale        Thing = "scale"          // of the pictures, or focal length and pixel pitch
	SessionDisk  Thing = "session disk"   // another one to keep the live session on
	SessionPlace Thing = "session folder" // another one to keep the live session in
	Site         Thing = "site"           // where files have no place
	SiteAnew     Thing = "site anew"      // where they have
	Target       Thing = "target"         // the field to aim for
	Times        Thing = "times"          // a table of them, where files have none
	TimesAnew    Thing = "times anew"     // where they have
	Zone         Thing = "zone"           // of the camera's clock
	ZoneOther    Thing = "other zone"     // which it may rather have been; the value as +02:00

	// To be looked at: are they right?
	CheckSite         Thing = "site given"
	CheckClock        Thing = "clock and zone"
	CheckSiteAndClock Thing = "site and clock"
)

// Plain is what the system says, without the name of the call and of the file.
func Plain(err error) error {
	for {
		u, ok := err.(interface{ Unwrap() error })
		if !ok || u.Unwrap() == nil {
			return err
		}
		err = u.Unwrap()
	}
}
