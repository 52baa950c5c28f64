package synth

// Classes lists the kinds of difficulty, workable ones first.
func Classes() []Class {
	return []Class{
		{"plain", true, "gasket on a bench, face level with its strips", func(rng dice) *Case {
			return pair(rng, patternWish{}, easy(rng), easy(rng), false)
		}},
	}
}
