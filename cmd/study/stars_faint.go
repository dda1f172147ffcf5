package main

import (
	"context"
	"fmt"
	"math/rand/v2"

	"trueturn/cmd/study/sheet"
)

// Most stars of a picture are faint, and which of them are found is chance. How far a stated error is to be trusted is asked
// here as its reader must ask it: of all stars that look alike.

// starFaintKinds are what the question is put to.
func starFaintKinds(quick bool) []starKind {
	kinds := []starKind{{fwhm: 3, sky: starSky}}
	if !quick {
		kinds = append(kinds, starKind{fwhm: 2, sky: starSky}, starKind{fwhm: 5, sky: starSky},
			starKind{moffat: true, fwhm: 3, sky: starSky}, starKind{fwhm: 3, trail: 10, sky: starSky})
	}
	return kinds
}

// starFaintest is the lowest signal-to-noise drawn: stars below the threshold of detection belong to the question.
const starFaintest = 3

// starMany are the signal-to-noise ratios of a hundred stars whose number falls as one over their light (common practice, no
// source: counts of stars in the sky fall about so).
func starMany() (levels []float64) {
	for i := range starSide * starSide {
		levels = append(levels, starFaintest*starSide*starSide/(float64(i)+0.5))
	}
	return levels
}

// starBins are the lower ends of the bins of light over stated error.
var starBins = []float64{0, 4, 5.5, 8, 16, 64}

func starBin(ratio float64) int {
	b := 0
	for b+1 < len(starBins) && ratio >= starBins[b+1] {
		b++
	}
	return b
}

// starFaint draws such pictures of one kind and sorts what was found.
func starFaint(ctx context.Context, o options, k starKind) (starRow, error) {
	row := starRow{kind: k, levels: make([]starTally, len(starBins))}
	levels := starMany()
	poses := starPoses(k, starPhases, o.rng("faint", k))
	err := o.each(ctx, k.name()+": phase", len(poses), func(i int) error {
		poses[i].draw(k, levels)
		return nil
	})
	if err != nil {
		return row, err
	}
	parts := make([]starRow, (o.trials(1000, 60)+19)/20)
	err = o.each(ctx, k.name()+": faint plane", len(parts), func(i int) (err error) {
		parts[i], err = starFaintOne(ctx, k, poses, len(levels), o.rng("faint plane", k, i))
		return err
	})
	for i := range parts {
		row.join(&parts[i])
	}
	return row, err
}

func starFaintOne(ctx context.Context, k starKind, poses []starPose, levels int, rng *rand.Rand) (starRow, error) {
	r := starRow{kind: k, levels: make([]starTally, len(starBins))}
	plane, truth := starPlane(k, poses, levels, rng)
	found, wrong, err := starMeasure(ctx, k, plane, truth)
	r.wrong, r.megapixels = wrong, float64(len(plane.Pix))/1e6
	for _, f := range found {
		if f.star != nil {
			r.levels[starBin(f.star.Flux/f.star.FluxErr)].add(f)
		}
	}
	return r, err
}

// starFaintTables says how the stated errors did.
func starFaintTables(ctx context.Context, o options, c *sheet.Chapter) error {
	var rows []starRow
	for _, k := range starFaintKinds(o.Quick) {
		r, err := starFaint(ctx, o, k)
		if err != nil {
			return err
		}
		rows = append(rows, r)
	}
	c.Head("Stated errors of stars as the sky has them")
	c.Say(`Stars from a signal-to-noise of %d up, their number falling as one over their light; sorted by what is known when all is measured, the light
over its stated error (which leaves the shape free and is about half the signal-to-noise of the tables above).`, starFaintest)
	for _, cell := range []starCell{
		{"Error stated over scatter; under 1 is too small.", func(t *starTally) string {
			f := t.stated()
			return sheet.PlusMinus(f.v, f.err, 2)
		}},
		{fmt.Sprintf("Stars more than %d stated errors from the truth, of all found.", starBeyond),
			func(t *starTally) string { return fmt.Sprintf("%d of %d", t.wild, t.found) }},
	} {
		t := starTable(rows, starBins, cell)
		t.Columns[0] = "light over error, from"
		c.Table(t)
	}
	return nil
}
