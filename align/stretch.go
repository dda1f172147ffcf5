package align

// Stretches lists the samples between which the motor was left alone, stretch by
// stretch: what happened in between (a break, a swing, play being taken up, a slip of the clutch) changes the
// zero of the angle about the axis. Nil where the angles follow no common rate.
func Stretches(in Input, a Axis) [][]int {
	steps := stepsOf(in, a, stampStep(in.Samples))
	ratio, ok := commonRatio(steps)
	if !ok || !mostlyEven(steps, ratio) {
		return nil
	}
	return stretches(steps, ratio)
}
