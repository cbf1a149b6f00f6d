package parquet

import (
	"encoding/hex"
	"fmt"
	"math/big"
	"time"
	"unicode/utf8"

	"github.com/apache/arrow/go/v17/arrow/float16"
	pq "github.com/apache/arrow/go/v17/parquet"
	pqschema "github.com/apache/arrow/go/v17/parquet/schema"
)

// Conversions from the physical values of a file to cells. Each refuses a
// value that it could only alter.

func fromFloat64(v float64) (float64, error) { return v, nil }
func fromFloat32(v float32) (float64, error) { return float64(v), nil }
func fromInt32(v int32) (float64, error)     { return float64(v), nil }
func fromUint32(v int32) (float64, error)    { return float64(uint32(v)), nil }

func fromInt64(v int64) (float64, error) {
	if v > maxExact || v < -maxExact {
		return 0, fmt.Errorf("integer %d is too large to be held exactly", v)
	}
	return float64(v), nil
}

func fromUint64(v int64) (float64, error) {
	if uint64(v) > maxExact {
		return 0, fmt.Errorf("integer %d is too large to be held exactly", uint64(v))
	}
	return float64(v), nil
}

func fromBool(v bool) (float64, error) {
	if v {
		return 1, nil
	}
	return 0, nil
}

func fromHalf(v pq.FixedLenByteArray) (float64, error) {
	if len(v) != 2 {
		return 0, fmt.Errorf("a half-precision number of %d bytes", len(v))
	}
	return float64(float16.FromLEBytes(v).Float32()), nil
}

// decimal returns the conversion of unscaled integers of a decimal column to
// the nearest float64.
func decimal(scale int32) (func(*big.Int) (float64, error), error) {
	if scale < 0 || scale > 76 {
		return nil, fmt.Errorf("decimal scale %d", scale)
	}
	unit := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)), nil)
	return func(unscaled *big.Int) (float64, error) {
		v, _ := new(big.Rat).SetFrac(unscaled, unit).Float64()
		return v, nil
	}, nil
}

// bigEndian reads a two's complement integer, the highest byte first.
func bigEndian(b []byte) *big.Int {
	v := new(big.Int).SetBytes(b)
	if len(b) > 0 && b[0] >= 0x80 {
		v.Sub(v, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
	}
	return v
}

const (
	localLayout = "2006-01-02T15:04:05.999999999"
	utcLayout   = localLayout + "Z07:00"
	clockLayout = "15:04:05.999999999"
)

// timeText returns the conversion of times to ISO 8601 text: with Z where the
// file says that they are UTC, without a zone where it does not.
func timeText(t pqschema.TemporalLogicalType, layout string) (func(int64) (string, error), error) {
	units := map[pqschema.TimeUnitType]int64{pqschema.TimeUnitMillis: 1e6, pqschema.TimeUnitMicros: 1e3, pqschema.TimeUnitNanos: 1}
	unit, ok := units[t.TimeUnit()]
	if !ok {
		return nil, fmt.Errorf("unknown unit of time")
	}
	perSecond := int64(time.Second) / unit
	return func(v int64) (string, error) {
		return clipped(time.Unix(v/perSecond, v%perSecond*unit).UTC(), layout)
	}, nil
}

func clipped(at time.Time, layout string) (string, error) {
	if y := at.Year(); y < 0 || y > 9999 {
		return "", fmt.Errorf("a time of the year %d", y)
	}
	return at.Format(layout), nil
}

// oldTime converts the 96-bit times that some older writers still use.
func oldTime(v pq.Int96) (string, error) { return clipped(v.ToTime(), localLayout) }

func uuidText(b pq.FixedLenByteArray) (string, error) {
	if len(b) != 16 {
		return "", fmt.Errorf("a UUID of %d bytes", len(b))
	}
	h := hex.EncodeToString(b)
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:], nil
}

// interner makes equal texts share memory.
type interner struct {
	seen   map[string]string
	budget *budget
}

// maxInterned bounds the map; texts beyond it get memory of their own.
const maxInterned = 1 << 16

func (t *interner) text(b pq.ByteArray) (string, error) {
	if s, ok := t.seen[string(b)]; ok {
		return s, nil
	}
	if !utf8.Valid(b) {
		return "", fmt.Errorf("text that is not UTF-8")
	}
	if err := t.budget.take(int64(len(b))); err != nil {
		return "", err
	}
	s := string(b)
	if len(t.seen) < maxInterned {
		t.seen[s] = s
	}
	return s, nil
}
