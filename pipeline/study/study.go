// Package study turns a study folder's study.yaml and tables into a checked
// Study. Every fault becomes an Issue with its place, and what a fault takes
// away becomes an Exclusion; nothing is repaired in silence.
package study

import (
	"slices"

	"tonocohort/schema"
)

// Source reads one file of the study folder, named relative to it with '/'.
// It may reuse buf for the bytes that it returns; a file larger than limit is
// an error. The digest is that of the very bytes returned.
type Source interface {
	ReadFile(name string, buf []byte, limit int64) (data []byte, sha256hex string, err error)
}

// Options says what the rest of this build can do, so that a setting beyond
// it is refused and not ignored. A nil list stands for all that the contract
// names.
type Options struct {
	CentralMethods   []string // methods that central.method and central.also may name
	RecordingFormats []string // formats of recordings that can be read
	Published        []string // published sets of analysis.compare_with; nil: any name

	// JudgeTransfer says what is wrong with the file of a transfer function; nil: not judged.
	JudgeTransfer func(data []byte) error
	// Settings stand in place of what study.yaml says, and are judged as it is;
	// nil: study.yaml's own.
	Settings *schema.Settings
	// ReadTable reads a table whose name ends in .parquet; nil: none can be read.
	ReadTable func(name string, data []byte) (*schema.Frame, error)
	// TableLimit is the size in bytes above which a table is not read; 0: DefaultTableLimit.
	TableLimit int64
}

// DefaultTableLimit bounds the size of one table, so that a wrong file name
// cannot exhaust memory.
const DefaultTableLimit = 4 << 30

// settingsLimit bounds the size of study.yaml.
const settingsLimit = 1 << 20

// SettingsFile is the name of the settings within a study folder.
const SettingsFile = "study.yaml"

// Study is a study folder after every check. Where AnyStructural(Issues)
// holds, the rest is what could be read before and must not be analysed.
type Study struct {
	Settings   schema.Settings // with the defaults filled in
	Carried    []schema.Column // columns that subject_visits carries: sex, age_years, the optional ones present, covariates, derived
	Subjects   []Subject       // sorted by id; without the withdrawn
	Issues     []schema.Issue  // sorted
	Exclusions []Exclusion     // what value and recording faults took away, in the order of the tables' rows
	Withdrawn  int             // persons of the subjects table who have withdrawn
	OwnSets    []NamedFile     // published sets of the study's own that analysis.compare_with names, as they were read
	Transfer   []byte          // file of central.transfer_file as it was read; nil where the settings name none
	Inputs     []Input         // study.yaml, what it names beside tables, and the tables, in the order in which they were read
	Counts     []TableCount    // in the same order, tables only

	settings *decoder // knows where each setting stands; nil where there are none
}

// Locate gives issues about study.yaml that name a setting the place where it,
// or the nearest section around it, stands.
func (s *Study) Locate(issues []schema.Issue) { s.settings.locate(issues) }

// NamedFile is a file of the study folder with what it holds.
type NamedFile struct {
	Path string // within the folder
	Name string
	Data []byte
}

// Input identifies a file that was read.
type Input struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// TableCount says where the rows of a table went:
// Rows = Kept + LeftOut + Withdrawn + Blank.
type TableCount struct {
	Table     string `json:"table"`
	Rows      int    `json:"rows"`      // below the header
	Kept      int    `json:"kept"`      // placed in the study
	LeftOut   int    `json:"left_out"`  // by a fault: of value size with an Exclusion, structural without
	Withdrawn int    `json:"withdrawn"` // of persons who have withdrawn
	Blank     int    `json:"blank"`     // every cell empty
}

// Exclusion is one thing left out, a row of the exclusions table.
type Exclusion struct {
	Level                           string // subject, visit, reading, recording or value
	SubjectID, VisitID, RecordingID string // "" where the row does not say, or not usably
	Stage, Reason                   string // Reason is the code of the Issue
	Issue                           schema.Issue
}

// Subject is one person.
type Subject struct {
	ID     string
	Sex    string  // a level of the sex column; "" where missing
	Visits []Visit // by date where all have one, else by age, else by id
}

// Visit is one examination of one person.
type Visit struct {
	ID         string
	AgeYears   float64     // NaN where missing
	Cells      []Cell      // aligned with Study.Carried
	Cuff       []Reading   // by Number; readings without usable pressures are not here
	Recordings []Recording // by ID
	Departures []string    // from the protocol: names of columns, in their order in the visits table

	subject, line int32 // while the tables are read
}

// Cell holds a value of a carried column: Number where the column is numeric
// (NaN where missing), else Text ("" where missing).
type Cell struct {
	Number float64
	Text   string
}

// Reading is one cuff reading; SBP and DBP are always there.
type Reading struct {
	Number               int     // from 1
	SBP, DBP, MAP, Pulse float64 // mmHg and 1/min; MAP and Pulse are NaN where missing
	RecordingID          string  // "": it serves every recording of its visit
	Line                 int     // of the cuff table

	visit int32 // while the tables are read
}

// Recording is one row of the recordings table.
type Recording struct {
	*Setup
	ID, File               string
	GivenID                string // the id of the table, where ID becomes a pseudonym
	OperatorID, RecordedAt string
	Review                 string   // accept, reject; "": not reviewed. One reject outweighs any accept
	Reviews                []Review // each reader's, by reader
	Fault                  string   // code of the Issue for which it cannot be read; "": none. It has its Exclusion
	Line                   int      // of the recordings table

	visit int32 // while the tables are read
}

// Setup is how a recording was taken. It is held once for all recordings of a study that
// have it in common, most of them, and never changed.
type Setup struct {
	Format, Channel string
	SamplingHz      float64 // 0: not declared
	Unit            string  // mmHg, au; "": not declared
	Artery          string  // radial where the table says nothing
	Side, DeviceID  string
}

// Review is one reader's verdict on a recording.
type Review struct {
	Reader, Decision, Reason, ReadOn string
	Line                             int // of the reviews table
}

// ReadingsFor returns the readings that serve the recording: its own and
// those of the visit that name no recording.
func (v *Visit) ReadingsFor(recordingID string) []Reading {
	var readings []Reading
	for _, r := range v.Cuff {
		if r.RecordingID == "" || r.RecordingID == recordingID {
			readings = append(readings, r)
		}
	}
	return readings
}

// Files lists the files that the recordings name, sorted, each once, without
// those of recordings that have a Fault.
func (s *Study) Files() []string {
	var files []string
	for i := range s.Subjects {
		for j := range s.Subjects[i].Visits {
			for _, r := range s.Subjects[i].Visits[j].Recordings {
				if r.Fault == "" {
					files = append(files, r.File)
				}
			}
		}
	}
	slices.Sort(files)
	return slices.Compact(files)
}

// IsIdentifier reports whether a text can be an id: see schema.Identifier.
func IsIdentifier(s string) bool { return isIdentifier(s) }

// Reserved reports a name that no covariate can have: the contract or the
// results have a column of it.
func Reserved(name string) bool {
	inputs := inputColumns()
	results := schema.SubjectVisitsTable(nil)
	return inputs["subjects"].Index(name) >= 0 || inputs["visits"].Index(name) >= 0 ||
		results.Index(name) >= 0 || name == "age_band" || derivedByName(name) != nil
}
