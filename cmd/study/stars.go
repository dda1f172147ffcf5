package main

import (
	"context"
	"math/rand/v2"

	"trueturn/cmd/study/sheet"
)

// The grid of the study. Signal-to-noise is a star's light over the error it would have were all else about it known.
var (
	starLevels     = []float64{5, 10, 20, 50, 100, 200, 500}
	starPairLevels = []float64{20, 50, 100, 200}
	starWidths     = []float64{1.5, 2, 3, 5, 8}
	starTrails     = []float64{0, 3, 10, 30}
)

const (
	starSky  = 400 // electrons a pixel
	starDark = 10
)

// stars tells how well places of stars are measured.
func stars(ctx context.Context, o options, c *sheet.Chapter) error {
	lone, pairs := starLone(), starPairs()
	if o.Quick {
		lone, pairs = starQuick()
	}
	apart, err := starRun(ctx, o, lone, starLevels)
	if err != nil {
		return err
	}
	crowded, err := starRun(ctx, o, pairs, starPairLevels)
	if err != nil {
		return err
	}
	starSay(c)
	starTargets(c, apart)
	starLoneTables(c, apart)
	starPairTables(c, crowded)
	starCharts(c, apart)
	return starFaintTables(ctx, o, c)
}

// starLone are all kinds of stars that stand alone.
func starLone() (kinds []starKind) {
	for _, moffat := range []bool{false, true} {
		for _, trail := range starTrails {
			for _, w := range starWidths {
				kinds = append(kinds, starKind{moffat: moffat, fwhm: w, trail: trail, sky: starSky})
			}
		}
		kinds = append(kinds, starKind{moffat: moffat, fwhm: 3, sky: starDark})
	}
	return kinds
}

// starPairs are stars with a neighbour, as bright or a fifth as bright.
func starPairs() (kinds []starKind) {
	for _, moffat := range []bool{false, true} {
		for _, ratio := range []float64{1, 0.2} {
			for _, w := range []float64{2, 3, 5} {
				for _, apart := range []float64{2, 3, 4} {
					kinds = append(kinds, starKind{moffat: moffat, fwhm: w, sky: starSky, apart: apart, ratio: ratio})
				}
			}
		}
	}
	return kinds
}

func starQuick() (lone, pairs []starKind) {
	for _, w := range []float64{2, 3, 5} {
		lone = append(lone, starKind{fwhm: w, sky: starSky})
	}
	lone = append(lone, starKind{fwhm: 3, trail: 10, sky: starSky}, starKind{moffat: true, fwhm: 3, sky: starSky})
	return lone, []starKind{{fwhm: 3, sky: starSky, apart: 3, ratio: 1}}
}

// starRow is what came of one kind.
type starRow struct {
	kind       starKind
	levels     []starTally
	wrong      int
	megapixels float64
}

// starRun draws and measures kinds one after the other: what the poses of one hold takes memory.
func starRun(ctx context.Context, o options, kinds []starKind, levels []float64) ([]starRow, error) {
	rows := make([]starRow, len(kinds))
	for i, k := range kinds {
		var err error
		if rows[i], err = starRunKind(ctx, o, k, levels); err != nil {
			return nil, err
		}
	}
	return rows, nil
}

func starRunKind(ctx context.Context, o options, k starKind, levels []float64) (row starRow, err error) {
	poses := starPoses(k, starPhases, o.rng("poses", k))
	err = o.each(ctx, k.name()+": phase", len(poses), func(i int) error {
		poses[i].draw(k, levels)
		return nil
	})
	if err != nil {
		return row, err
	}
	each := starSide * starSide / len(levels) // stars a level and plane
	parts := make([]starRow, (o.trials(1000, 60)+each-1)/each)
	err = o.each(ctx, k.name()+": plane", len(parts), func(i int) (err error) {
		parts[i], err = starOne(ctx, k, poses, len(levels), o.rng("plane", k, i))
		return err
	})
	for i := range parts {
		row.join(&parts[i])
	}
	return row, err
}

// starOne draws and measures one plane.
func starOne(ctx context.Context, k starKind, poses []starPose, levels int, rng *rand.Rand) (starRow, error) {
	r := starRow{kind: k, levels: make([]starTally, levels)}
	plane, truth := starPlane(k, poses, levels, rng)
	found, wrong, err := starMeasure(ctx, k, plane, truth)
	if err != nil {
		return r, err
	}
	r.wrong, r.megapixels = wrong, float64(len(plane.Pix))/1e6
	for _, f := range found {
		if f.truth.level >= 0 {
			r.levels[f.truth.level].add(f)
		}
	}
	return r, nil
}

func (r *starRow) join(p *starRow) {
	if r.levels == nil {
		*r = *p
		return
	}
	r.wrong, r.megapixels = r.wrong+p.wrong, r.megapixels+p.megapixels
	for i := range r.levels {
		r.levels[i].join(&p.levels[i])
	}
}
