package simulate

// Clean is the evening under a sky, and with a lens, that leave nothing to
// wish: a 12-megapixel phone of 115 mm equivalent shows some 500 stars, more
// than 200 of them placed to 0.03 px, and its optical centre stands still. The
// mount and its faults are kept.
func (e Evening) Clean() Evening {
	e.Conditions = Conditions{Brightness: 21.8, Extinction: 0.2}
	e.Camera.ZeroPoint *= 4
	e.Camera.FullScale *= 6
	e.Camera.Pedestal *= 3
	e.Camera.HotPixels = 0
	e.Handling.Wander = 0
	e.Handling.Breathing, e.Handling.BreathingJitter = 0, 0
	return e
}

// Realistic is the evening as a phone on a balcony sees it: at 12 megapixels and
// 115 mm equivalent some 50 stars stand out, half of them placed to 0.15 px or
// better (SigmaPx), the optical centre jumps by 0.1 px from picture to picture
// and the scale creeps by 0.05 % while the focus settles. The mount and its
// faults are kept.
func (e Evening) Realistic() Evening {
	e.Conditions = Conditions{Brightness: 17.6, Gradient: 0.5, Extinction: 0.4}
	e.Camera.ZeroPoint *= 0.04
	e.Camera.FullScale /= 3
	e.Handling.Wander = 0.1
	e.Handling.Breathing = 5e-4
	e.Handling.BreathingJitter = 2e-5
	return e
}
