package kit

import (
	"fmt"
	"io"
	"strings"
)

// A code names a saved kit to people: ten characters, the last a check character, in two
// groups of five: 7KFM3-WX9R5. The alphabet has no two characters that look alike and no
// vowel, so that no code spells a word, and 23 is prime, as the check needs.
const (
	codeAlphabet = "23456789CDFHJKMNPRTVWXY"
	codeLength   = 10
	codeGroup    = 5
)

// CodeError is a text that is no code, most likely one that was mistyped.
type CodeError struct{ Detail string }

func (e *CodeError) Error() string { return e.Detail }

// NewCode makes a code of nine characters drawn from random, which must be
// cryptographically strong: with 23^9, 1.8 million million, codes to guess from, knowing
// some helps to find no other.
func NewCode(random io.Reader) (string, error) {
	const fair = 256 / len(codeAlphabet) * len(codeAlphabet) // bytes above would favour the first characters
	values := make([]int, 0, codeLength)
	var b [1]byte
	for len(values) < codeLength-1 {
		if _, err := io.ReadFull(random, b[:]); err != nil {
			return "", fmt.Errorf("random code: %w", err)
		}
		if int(b[0]) < fair {
			values = append(values, int(b[0])%len(codeAlphabet))
		}
	}
	return spell(append(values, checkValue(values, len(codeAlphabet)))), nil
}

func spell(values []int) string {
	var b strings.Builder
	for i, v := range values {
		if i == codeGroup {
			b.WriteByte('-')
		}
		b.WriteByte(codeAlphabet[v])
	}
	return b.String()
}

// ReadCode reads a code as people write it, in either case, with spaces and hyphens
// anywhere, and spells it as NewCode does. The error is a *CodeError.
func ReadCode(text string) (string, error) {
	values := make([]int, 0, codeLength)
	for _, r := range strings.ToUpper(text) {
		if r == ' ' || r == '-' {
			continue
		}
		v := strings.IndexRune(codeAlphabet, r)
		if v < 0 {
			return "", &CodeError{fmt.Sprintf("%q is in no code; codes are made of %s", r, codeAlphabet)}
		}
		if values = append(values, v); len(values) > codeLength {
			break
		}
	}
	if len(values) != codeLength {
		return "", &CodeError{fmt.Sprintf("a code has %d characters, two groups of %d", codeLength, codeGroup)}
	}
	if last := len(values) - 1; checkValue(values[:last], len(codeAlphabet)) != values[last] {
		return "", &CodeError{"some character is wrong, or two have changed places: the last one does not check"}
	}
	return spell(values), nil
}

// checkValue is the check character of a pure system of ISO/IEC 7064:2003 with radix 2,
// from memory of the standard, whose MOD 11-2 and MOD 37-2 are this for 11 and 37: the
// values, check included, weighted by powers of 2 from the last, add up to 1 modulo the
// modulus. Here the modulus is 23, the size of the alphabet, for which no published
// designation exists.
//
// Modulo a prime a wrong character changes the sum by its difference times a weight,
// two exchanged ones by their difference times the difference of their weights, and none
// of these is 0, as the powers of 2 modulo 23 repeat only after eleven: every single
// wrong character is found and every exchange, of neighbours or not.
func checkValue(values []int, modulus int) int {
	sum := 0
	for _, v := range values {
		sum = (sum + v) * 2 % modulus
	}
	return (1 - sum + modulus) % modulus
}
