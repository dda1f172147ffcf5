package say

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"time"

	"github.com/soniakeys/unit"
)

// String names key and values, for tests and logs: nothing a user reads. A text is itself.
func (l Line) String() string {
	if l.Key == verbatim {
		return fmt.Sprint(l.With...)
	}
	text := string(l.Key)
	for _, w := range l.With {
		switch w := w.(type) {
		case unit.Angle:
			text += fmt.Sprintf(" [%.1f′]", math.Abs(w.Min()))
		case Off:
			text += fmt.Sprintf(" [%.1f′ ± %.1f′]", math.Abs(w.Value.Min()), w.Sigma.Min())
		case Longest:
			text += fmt.Sprintf(" [%v]", time.Duration(w))
		case Clause:
			text += fmt.Sprintf(" [%v]", Line(w))
		default:
			text += fmt.Sprintf(" [%v]", w)
		}
	}
	return text
}

// types are those of quantities, by the name they are kept under.
var types = map[string]reflect.Type{
	"angle": reflect.TypeFor[unit.Angle](), "time": reflect.TypeFor[time.Duration](), "at": reflect.TypeFor[time.Time](), "count": reflect.TypeFor[int](), "text": reflect.TypeFor[string](),
	"texts": reflect.TypeFor[[]string](), "line": reflect.TypeFor[Line](), "lines": reflect.TypeFor[[]Line](),
	"off": reflect.TypeFor[Off](), "moons": reflect.TypeFor[Moons](), "times": reflect.TypeFor[Times](), "pictures": reflect.TypeFor[Pictures](),
	"share": reflect.TypeFor[Share](), "arcsec": reflect.TypeFor[Arcsec](), "period": reflect.TypeFor[Period](), "rate": reflect.TypeFor[Rate](), "ratio": reflect.TypeFor[Ratio](), "px": reflect.TypeFor[Pixels](),
	"mm": reflect.TypeFor[Millimetres](), "km": reflect.TypeFor[Kilometres](), "degrees": reflect.TypeFor[Degrees](), "wind": reflect.TypeFor[Wind](),
	"offset": reflect.TypeFor[Offset](), "sentence": reflect.TypeFor[Sentence](), "hours": reflect.TypeFor[Hours](), "tenths": reflect.TypeFor[Tenths](), "hundredths": reflect.TypeFor[Hundredths](), "number": reflect.TypeFor[Number](), "place": reflect.TypeFor[Place](), "wait": reflect.TypeFor[Wait](), "span": reflect.TypeFor[Span](), "longest": reflect.TypeFor[Longest](),
	"files": reflect.TypeFor[Files](), "clause": reflect.TypeFor[Clause](),
}

// nameOf is what a type is kept under; "" of one that is no quantity.
func nameOf(t reflect.Type) string {
	for name, is := range types {
		if is == t {
			return name
		}
	}
	return ""
}

// MarshalJSON and UnmarshalJSON are those of the line.
func (c Clause) MarshalJSON() ([]byte, error) { return Line(c).MarshalJSON() }

// UnmarshalJSON reads what MarshalJSON wrote.
func (c *Clause) UnmarshalJSON(text []byte) error { return (*Line)(c).UnmarshalJSON(text) }

// lineJSON is a line on paper: every quantity under its type's name.
type lineJSON struct {
	Key  Key                          `json:"key"`
	With []map[string]json.RawMessage `json:"with,omitempty"`
}

// MarshalJSON writes a line; a text as such.
func (l Line) MarshalJSON() ([]byte, error) {
	if l.None() {
		return []byte(`""`), nil
	}
	j := lineJSON{Key: l.Key}
	for _, w := range l.With {
		name := nameOf(reflect.TypeOf(w))
		if name == "" {
			return nil, fmt.Errorf("%T is no quantity", w)
		}
		value, err := json.Marshal(w)
		if err != nil { // a number that is none must not keep a session from being saved
			name, value = "text", []byte(`"?"`)
		}
		j.With = append(j.With, map[string]json.RawMessage{name: value})
	}
	return json.Marshal(j)
}

// UnmarshalJSON reads what MarshalJSON wrote, and a bare text, which earlier versions wrote.
func (l *Line) UnmarshalJSON(text []byte) error {
	var old string
	if json.Unmarshal(text, &old) == nil {
		*l = Text(old)
		return nil
	}
	var j lineJSON
	if err := json.Unmarshal(text, &j); err != nil {
		return err
	}
	*l = Line{Key: j.Key}
	for _, one := range j.With {
		for name, raw := range one {
			t, ok := types[name]
			if !ok {
				return fmt.Errorf("no quantity is called %q", name)
			}
			v := reflect.New(t)
			if err := json.Unmarshal(raw, v.Interface()); err != nil {
				return err
			}
			l.With = append(l.With, v.Elem().Interface())
		}
	}
	return nil
}
