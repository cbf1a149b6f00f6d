package recording_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"tonocohort/pipeline/recording"
)

// Random numbers in random forms, in one column and in two, must come out as
// strconv.ParseFloat reads them, bit by bit.
func TestNumbersAreBitEqualToStrconv(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 11))
	digits := func(n int) string {
		b := make([]byte, n)
		for i := range b {
			b[i] = byte('0' + r.IntN(10))
		}
		return string(b)
	}
	number := func() string {
		switch r.IntN(6) {
		case 0:
			return strconv.FormatFloat(r.NormFloat64()*math.Pow(10, float64(r.IntN(40)-20)), 'g', -1, 64)
		case 1:
			return strconv.FormatFloat(math.Float64frombits(r.Uint64()>>12|1<<62), 'e', r.IntN(20), 64)
		default: // what devices write
			s := digits(1 + r.IntN(6))
			if r.IntN(10) == 0 {
				s = digits(1 + r.IntN(18))
			}
			if n := r.IntN(10); n > 0 {
				s += "." + digits(n-1+r.IntN(2))
			}
			if r.IntN(3) == 0 {
				s = "-" + s
			}
			return s
		}
	}
	for _, end := range []string{"\n", "\r\n"} {
		var one, two strings.Builder
		one.WriteString("pressure" + end)
		two.WriteString("x,pressure" + end)
		var want []float64
		for range 60_000 {
			s := number()
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				continue
			}
			for range 1 + r.IntN(3) { // the same shape again
				want = append(want, v)
				one.WriteString(s + end)
				two.WriteString(number() + "," + s + end)
			}
		}
		same(t, "one column", read(t, files{"w.csv": []byte(one.String())}, recording.Options{}, csvRequest(100)).Samples, want)
		same(t, "two columns", read(t, files{"w.csv": []byte(two.String())}, recording.Options{}, csvRequest(100)).Samples, want)
	}
}
