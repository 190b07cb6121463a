package fit

// emptied drops what a slice refers to and keeps its memory.
func emptied[T any](s *[]T) {
	clear(*s)
	*s = (*s)[:0]
}

// lendZero hands out n zero elements of a pile that stay where they are when it grows.
func lendZero[T any](pile *[]T, n int) []T {
	if cap(*pile)-len(*pile) < n {
		*pile = make([]T, 0, max(64, n, 2*cap(*pile)))
	}
	from := len(*pile)
	*pile = (*pile)[:from+n]
	return (*pile)[from : from+n : from+n]
}

// zeroed makes a slice of n zeros, in the memory it has where that is enough.
func zeroed[T any](s []T, n int) []T {
	s = resize(s, n)
	clear(s)
	return s
}

// resize makes a slice n long, in the memory it has where that is enough.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
