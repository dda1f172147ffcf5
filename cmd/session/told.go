package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"trueturn/cmd/kit"
	"trueturn/drift"
	"trueturn/ephem"
	"trueturn/ephem/amiss"
)

// toldFile keeps what was said at the page.
const toldFile = "told.json"

// Told is what somebody says at the page of what the pictures do not, as typed; "" says nothing.
type Told struct {
	Zone       string `json:"zone"`          // of the camera's clock, as [kit.Zone] reads it
	Site       string `json:"site"`          // as [ephem.ParseSite] reads it
	Equivalent string `json:"equivalent_mm"` // focal length as its 35 mm equivalent
	Over       string `json:"over"`          // what the session was started with then, in short
}

// started is what a session is started with, in short.
func (o *Options) started() string {
	site := ""
	if s := o.Guide.Answer.Site; s != nil {
		site = fmt.Sprint(ephem.PlaceOf(*s))
	}
	return asked(o.Measure) + site
}

// over is t where it says something, else what was said before.
func (t Told) over(before Told) Told {
	for _, f := range []struct{ now, before *string }{{&t.Zone, &before.Zone}, {&t.Site, &before.Site}, {&t.Equivalent, &before.Equivalent}} {
		if *f.now = strings.TrimSpace(*f.now); *f.now == "" {
			*f.now = *f.before
		}
	}
	return t
}

// apply says it to the options. The error says the way out; then they are as before.
func (t Told) apply(o *Options) error {
	said := *o
	if t.Zone != "" {
		z, err := kit.Zone(t.Zone)
		if err != nil {
			return err
		}
		said.Measure.Frame.Zone = z
	}
	if t.Site != "" {
		site, err := ephem.ParseSite(t.Site)
		if err != nil {
			return err
		}
		said.Guide.Answer.Site = &site
	}
	if t.Equivalent != "" {
		mm, err := equivalent(t.Equivalent)
		if err != nil {
			return err
		}
		said.Measure.Lens = drift.LensFlags{EquivalentMM: mm}
	}
	*o = said
	return nil
}

// Focal lengths as their 35 mm equivalent, millimetres.
const shortestMM, longestMM = 4, 20000

func equivalent(text string) (float64, error) {
	mm, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(text, "mm")), 64)
	if err != nil || !(mm >= shortestMM && mm <= longestMM) {
		return 0, amiss.New(nil, "that is no focal length", "write millimetres as the 35 mm equivalent, 26 say; a phone's camera says it in the picture's details")
	}
	return mm, nil
}

// Describe takes what somebody says at the page. Pictures that could not be used without it are measured again where they
// can be; those a browser sent it sends again. The error says the way out, or is the context's.
func (n *Session) Describe(ctx context.Context, t Told) (err error) {
	ended := n.inRun(ctx, func() { err = n.describe(ctx, t) })
	return errors.Join(ended, err)
}

func (n *Session) describe(ctx context.Context, t Told) error {
	t = t.over(n.told)
	t.Over = n.started
	o := n.o
	if err := t.apply(&o); err != nil {
		return err
	}
	if err := n.o.Store.Put(toldFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(t) }); err != nil {
		n.setTrouble(err)
	}
	n.mu.Lock() // pictures are being measured meanwhile
	n.o.Measure, n.o.Guide, n.told, n.asked = o.Measure, o.Guide, t, asked(o.Measure)
	n.mu.Unlock()
	for _, p := range n.journal.drop(n.worthAnother) {
		if n.o.Again != nil && p.Name != "" {
			n.o.Again(p, false)
		}
	}
	n.reckonAnew(ctx)
	return nil
}

// remembered is what was said at the page before this start. It was said against what the session was started with then; where
// that is another now, that goes before it.
func (o *Options) remembered() (t Told) {
	text, err := get(o.Store, toldFile)
	if err != nil || json.Unmarshal(text, &t) != nil {
		return Told{}
	}
	if t.Over != o.started() {
		t = t.under(*o)
	}
	t.apply(o) // what cannot be read any more says nothing
	return t
}

// under is t where the options say nothing.
func (t Told) under(o Options) Told {
	if o.Measure.Frame.Zone != nil {
		t.Zone = ""
	}
	if o.Guide.Answer.Site != nil {
		t.Site = ""
	}
	if o.Measure.Lens != (drift.LensFlags{}) {
		t.Equivalent = ""
	}
	return t
}
