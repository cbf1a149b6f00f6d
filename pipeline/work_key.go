package pipeline

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"sync"

	"tonocohort/pipeline/study"
	"tonocohort/schema"
)

// sum is a SHA-256.
type sum [sha256.Size]byte

// basis is what the rows of every subject rest on beside its own data: what must
// be the same for a part that was sealed before to be taken. Settings that reach
// the statistics alone are not in it, nor what the tables say, which stands in
// the key of each subject.
type basis struct {
	Build    schema.Build               `json:"build"`
	Settings map[string]json.RawMessage `json:"settings"`
	KeyID    string                     `json:"key_id,omitempty"`
	Transfer string                     `json:"transfer_sha256,omitempty"`
	Columns  []schema.Column            `json:"columns"` // that subject_visits carries
}

// statisticsAlone names the settings that reach no recording by themselves: how
// tables are named, written and read reaches a subject through its rows.
func statisticsAlone() []string {
	return []string{"format", "study", "tables", "csv", "covariates", "recode", "units", "derive", "analysis", "disclosure"}
}

func (r *run) basis() (basis, error) {
	b := basis{Build: r.manifest.Build, KeyID: r.disguise.keyID(), Columns: r.study.Carried}
	s := r.study.Settings
	data, err := json.Marshal(s)
	if err != nil {
		return b, err
	}
	if err := json.Unmarshal(data, &b.Settings); err != nil {
		return b, err
	}
	for _, name := range statisticsAlone() {
		delete(b.Settings, name)
	}
	// Of the protocol a recording knows only what a departure does: which visit
	// departs stands with the visit. The scheme of bp_class is a column.
	for name, value := range map[string]string{"protocol": s.Protocol.OnDeparture, "analysis.bp_scheme": s.Analysis.BPScheme} {
		if b.Settings[name], err = json.Marshal(value); err != nil {
			return b, err
		}
	}
	for _, in := range r.study.Inputs {
		if in.Path == s.Central.TransferFile {
			b.Transfer = in.SHA256
		}
	}
	return b, nil
}

func (b basis) sum() (sum, error) {
	data, err := canonical(b)
	return sha256.Sum256(data), err
}

// subjectKey is a digest of everything that the study's tables say of a subject.
// Where a row stands in its table does not belong to it.
func subjectKey(s *study.Subject) sum {
	return sha256.Sum256(appendFields(make([]byte, 0, 1<<10), reflect.ValueOf(s).Elem()))
}

// appendFields adds a value field by field, each preceded by its length where it
// has one, so that no two values run into one another.
func appendFields(out []byte, v reflect.Value) []byte {
	switch v.Kind() {
	case reflect.String:
		return append(appendWord(out, uint64(v.Len())), v.String()...)
	case reflect.Float64:
		return appendWord(out, math.Float64bits(v.Float()+0)) // no −0: a subject that was put aside has none
	case reflect.Int, reflect.Int32, reflect.Int64:
		return appendWord(out, uint64(v.Int()))
	case reflect.Bool:
		return appendWord(out, map[bool]uint64{true: 1}[v.Bool()])
	case reflect.Slice:
		out = appendWord(out, uint64(v.Len()))
		for i := range v.Len() {
			out = appendFields(out, v.Index(i))
		}
		return out
	case reflect.Pointer:
		return appendFields(out, v.Elem())
	case reflect.Struct:
		for i, keyed := range keyedFields(v.Type()) {
			if keyed {
				out = appendFields(out, v.Field(i))
			}
		}
		return out
	}
	panic(fmt.Sprintf("pipeline: a field of kind %s has no place in the key of a subject", v.Kind()))
}

func appendWord(out []byte, v uint64) []byte { return binary.LittleEndian.AppendUint64(out, v) }

// keyedFields says which fields of a struct belong to a key. It is remembered for each
// type: to ask a type for a field takes memory.
func keyedFields(t reflect.Type) []bool {
	if known, ok := fieldsOfKeys.Load(t); ok {
		return known.([]bool)
	}
	keyed := make([]bool, t.NumField())
	for i := range keyed {
		f := t.Field(i)
		keyed[i] = f.IsExported() && f.Name != "Line"
	}
	fieldsOfKeys.Store(t, keyed)
	return keyed
}

var fieldsOfKeys sync.Map // by type, []bool
