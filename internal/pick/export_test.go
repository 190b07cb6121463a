package pick

// SearchAll lets no component's combinations be tried one by one, until restore.
func SearchAll() (restore func()) {
	was := mostCombinations
	mostCombinations = 0
	return func() { mostCombinations = was }
}

// DropNeedless is what is done to what a stopped search found.
func (p *Problem) DropNeedless(sol *Solution) { p.dropNeedless(sol) }
