package schema

// ManifestFormat is the version of manifest.json. A manifest of format 1 stays
// readable and verifiable by every later version 1 of the program.
const ManifestFormat = 1

// Caution stands wherever results may be read as being about a person's health.
const Caution = "Research use only. Not a diagnosis, not a basis for treatment: decisions belong to licensed clinicians and local guidance."

// Manifest is the truth about a results folder: what went in, what was done
// with it, what came out. It names neither host nor user of the machine and holds
// no absolute path; what stands in Run is outside what is hashed.
type Manifest struct {
	Format   int               `json:"format"`
	Caution  string            `json:"caution"`
	Study    StudyIdentity     `json:"study"`
	Build    Build             `json:"build"`
	Settings Settings          `json:"settings"`
	KeyID    string            `json:"key_id,omitempty"` // of the key behind keyed pseudonyms and dates; the key stands nowhere
	Shard    *Shard            `json:"shard,omitempty"`  // the part of a study that these are; nil: all of it
	Counts   Counts            `json:"counts"`
	Sources  []Source          `json:"sources,omitempty"` // results that these were made from; none where they were made from a study
	Inputs   []File            `json:"inputs"`            // sorted by path
	Outputs  []Output          `json:"outputs"`           // sorted by path
	Seeds    map[string]string `json:"seeds"`             // name of each random stream and what it was made from; empty where nothing is random
	Content  string            `json:"content"`           // SHA-256 of the canonical JSON of everything above
	Run      *RunTimes         `json:"run,omitempty"`
}

// Source is a results folder that other results were made from.
type Source struct {
	Study   StudyIdentity `json:"study"`
	Content string        `json:"content"` // of its manifest
}

// Shard is one of the contiguous ranges of the sorted subjects of a study that
// are computed apart. Its results are the person-level tables of these subjects.
type Shard struct {
	Number int    `json:"number"`            // from 1
	Of     int    `json:"of"`                // shards of the study
	First  int    `json:"first"`             // place of the first subject among all, from 1
	Total  int    `json:"total"`             // subjects of the study; counts has those of the shard
	From   string `json:"from_id,omitempty"` // first and last subject, as the tables name them; "" where there is none
	To     string `json:"to_id,omitempty"`
}

// Build says which program made the results.
type Build struct {
	Program      string            `json:"program"`
	Version      string            `json:"version"`
	Go           string            `json:"go"`
	Architecture string            `json:"architecture"` // GOOS/GOARCH and its level, as linux/amd64/v1
	Flags        map[string]string `json:"flags,omitempty"`
	Modules      []Module          `json:"modules"`
	Executable   string            `json:"executable_sha256,omitempty"`
}

// Module is one library in the program.
type Module struct {
	Path    string `json:"path"`
	Version string `json:"version"`
	Sum     string `json:"sum,omitempty"`
}

// File is an input by its digest; Path is relative to the study folder.
type File struct {
	Path   string `json:"path"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Output is a file of the results folder. RowDigest covers the decoded cells of
// a table, so that it does not depend on how a Parquet page was compressed.
type Output struct {
	File
	Rows       *int64     `json:"rows,omitempty"`
	RowDigest  string     `json:"row_digest,omitempty"`
	RowGroups  []RowGroup `json:"row_groups,omitempty"` // parts of a table's file, in order; damage is traced to one
	Restricted bool       `json:"restricted"`
}

// RowGroup is one row group of a Parquet file: its rows and the bytes that hold
// them. What no group holds are the marks at both ends and the footer.
type RowGroup struct {
	Rows   int64  `json:"rows"`
	Offset int64  `json:"offset"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// Counts add up: Found = Used + Excluded + Failed at each level.
type Counts struct {
	Withdrawn  int          `json:"withdrawn_subjects"`
	Subjects   Tally        `json:"subjects"`
	Visits     Tally        `json:"subject_visits"`
	Recordings Tally        `json:"recordings"`
	Beats      Accepted     `json:"beats"`
	Issues     map[Size]int `json:"issues"`
}

// Tally counts things by what became of them.
type Tally struct {
	Found    int `json:"found"`
	Used     int `json:"used"`
	Excluded int `json:"excluded"`
	Failed   int `json:"failed"`
}

// Accepted counts beats.
type Accepted struct {
	Found    int `json:"found"`
	Accepted int `json:"accepted"`
}

// RunTimes is when and how the run was made; nothing depends on it.
type RunTimes struct {
	Started string `json:"started"` // RFC 3339, UTC
	Ended   string `json:"ended"`
	Jobs    int    `json:"jobs"`
	Shards  int    `json:"shards,omitempty"` // that were merged; 0: none
	// Recordings are URLs of object storage that recordings were read from, by the paths
	// in Inputs; none where they lay in the study folder. No credentials stand in them.
	Recordings []string `json:"recordings,omitempty"`
}
