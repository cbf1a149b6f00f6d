package sheets

// Sheet is what one recording shows. Missing numbers are NaN.
type Sheet struct {
	Recording, Subject, Visit string
	Centre, Operator, Device  string
	Artery, Side              string

	Status, Reason, Detail string   // what became of it, and why where it was not used
	Grade                  string   // usable, doubtful, unusable; "": never graded
	GradeReasons           []string // names of the rules that lowered the grade
	ProgramDecision        string   // accept or reject by the grade alone; "": no grade
	Reviews                []Review // by reader

	Trace        *Trace // nil: TraceMissing says why
	TraceMissing string
	Scale        float64 // mmHg = Offset + Scale · sample; NaN where there is no scale
	Offset       float64
	Calibration  string // how the scale came about
	Beats        []Beat // by time
	IndexNotes   []string
	Replicates   []Replicate // every recording of the visit, this one among them
	This         int         // its place among them
}

// Waves is the average beat of the recording; nil: it has none.
func (s *Sheet) Waves() *Waves { return s.Replicates[s.This].Waves }

// Trace is the recording as the sensor wrote it.
type Trace struct {
	Samples    []float64 // NaN where missing
	SamplingHz float64
	Unit       string
}

// DurationS is the length of the trace in seconds.
func (t *Trace) DurationS() float64 { return float64(len(t.Samples)) / t.SamplingHz }

// Beat is one beat that was found; times in seconds from the first sample.
type Beat struct {
	OnsetS, FootS, PeriodS float64 // PeriodS: to the next foot; NaN where none follows
	Correlation            float64 // with the average beat
	Accepted               bool
	Reason                 string // the rule that rejected it
}

// Waves is the average beat over one period. Times are in seconds from the foot
// of the peripheral wave.
type Waves struct {
	StepS      float64
	Peripheral []float32 // mmHg, from its foot on
	Aortic     []float32 // mmHg, from AorticS on; nil where the method gives a peak alone
	AorticS    float64
	FootS      float64 // of the aortic wave
	ShoulderS  float64 // of the aortic wave; NaN: it has none
	EjectionS  float64 // end of ejection, the same
}

// Replicate is one recording of the visit with its values, in the order of the
// rows of Quantities.
type Replicate struct {
	Recording, Grade, Status string
	Link                     string // to its sheet; "": not in the book
	Waves                    *Waves
	Values                   []Value
}

// Value is an estimate with its standard error; NaN where missing.
type Value struct{ Estimate, Error float64 }

// Quantity is a row of the table of values.
type Quantity struct {
	Column string // of the table recordings
	Label  string
	Unit   string
	Digits int
}

// Review is one reader's verdict so far.
type Review struct {
	Reader, Decision, Reason, ReadOn string
	Pending                          bool // it was written after these results were made
}

// Book is what all pages share.
type Book struct {
	Study, Title string // of the study
	Content      string // digest of the results: with Filter it names the book
	Filter       string // which recordings are in it, in words
	Recordings   int    // sheets in the book
	PerPage      int
	Calibration  string // primary calibration of the study
	Notes        []string
	Delimiter    string // of the reviews table: ",", ";" or a tab
	Dates        string // form of a date in it: yyyy-mm-dd, dd.mm.yyyy, dd/mm/yyyy, mm/dd/yyyy
	ReviewsName  string // name of the reviews table
	Earlier      []Earlier
	Quantities   []Quantity
}

// Earlier is a verdict that a recording of the book has already.
type Earlier struct {
	Recording string `json:"recording"`
	Reader    string `json:"reader"`
}

// Entry is one line of the index.
type Entry struct {
	Recording, Subject, Visit string
	Grade, Status             string
	GradeReasons              []string
	Reason                    string
	Reviews                   []Review
}

// Pages is how many pages the book has.
func (b *Book) Pages() int { return (b.Recordings + b.PerPage - 1) / b.PerPage }
