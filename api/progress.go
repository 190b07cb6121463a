package main

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// progress shows on a terminal how much of a file was read. Elsewhere it only reads.
type progress struct {
	from  io.Reader
	to    io.Writer // nil: nobody looks
	size  int64     // 0: not known
	read  int64
	shown time.Time
}

const progressWidth = 40

func newProgress(terminal io.Writer, from io.Reader, size int64) *progress {
	p := &progress{from: from, size: size}
	if isTerminal(terminal) {
		p.to = terminal
	}
	return p
}

// Read implements io.Reader.
func (p *progress) Read(b []byte) (int, error) {
	n, err := p.from.Read(b)
	p.read += int64(n)
	if p.to != nil && (err != nil || time.Since(p.shown) > 100*time.Millisecond) {
		p.shown = time.Now()
		_, _ = fmt.Fprint(p.to, "\r"+p.String()) // for the eye only
	}
	return n, err
}

// String is the bar.
func (p *progress) String() string {
	megabytes := float64(p.read) / 1e6
	if p.size == 0 {
		return fmt.Sprintf("%.1f MB", megabytes)
	}
	share := min(1, float64(p.read)/float64(p.size))
	full := int(share * progressWidth)
	text := fmt.Sprintf("[%s%s] %3.0f %%  %.1f MB", strings.Repeat("#", full), strings.Repeat(".", progressWidth-full), 100*share, megabytes)
	if share == 1 {
		text += "  checking and writing"
	}
	return text
}

// end leaves the line.
func (p *progress) end() {
	if p.to != nil {
		_, _ = fmt.Fprintln(p.to)
	}
}
