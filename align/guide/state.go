package guide

import (
	"context"

	"trueturn/drift"
)

// State is a session as it survives a restart: plain JSON, names instead of pictures.
type State struct {
	Serial uint64   `json:"serial"`
	Files  []string `json:"files"`
}

// State is the session so far.
func (g *Guide) State() State { return g.s }

// Resume goes on from a state; shots finds a shot by its file's name.
func Resume(o Options, s State, shots func(name string) (drift.Shot, bool)) (*Guide, error) {
	g := New(o)
	for _, f := range s.Files {
		if shot, ok := shots(f); ok {
			if err := g.Add(context.Background(), shot); err != nil {
				return nil, err
			}
		}
	}
	g.s.Serial = s.Serial
	g.refresh()
	return g, nil
}
