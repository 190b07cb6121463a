package pick

// SearchAll lets no component's combinations be tried one by one, until restore.
func SearchAll() (restore func()) {
	was := mostCombinations
	mostCombinations = 0
	return func() { mostCombinations = was }
}
