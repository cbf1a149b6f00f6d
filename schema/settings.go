package schema

import "strings"

// CentralMethods are the ways of estimating the aortic wave, by public name.
var CentralMethods = []string{"tube_constant", "tube_windkessel", "tube_individual", "transfer_table", "moving_average", "late_shoulder", "none"}

// CuffRules are the ways of combining the cuff readings of a visit.
var CuffRules = []string{"drop_first_of_three", "all", "drop_first", "last_two", "first_two", "median"}

// Settings is study.yaml with its defaults filled in. It stands resolved in the
// manifest. The yaml names are the contract.
type Settings struct {
	Format      int                          `yaml:"format" json:"format"`
	Study       StudyIdentity                `yaml:"study" json:"study"`
	Tables      TableFiles                   `yaml:"tables" json:"tables"`
	CSV         CSVSettings                  `yaml:"csv" json:"csv"`
	Waveforms   WaveformSettings             `yaml:"waveforms" json:"waveforms"`
	Rename      map[string]map[string]string `yaml:"rename" json:"rename,omitempty"` // by table: header as it comes → column as it is
	Covariates  []Covariate                  `yaml:"covariates" json:"covariates,omitempty"`
	Recode      map[string]map[string]string `yaml:"recode" json:"recode,omitempty"`
	Units       map[string]string            `yaml:"units" json:"units,omitempty"`
	Derive      []string                     `yaml:"derive" json:"derive,omitempty"`
	Cuff        CuffSettings                 `yaml:"cuff" json:"cuff"`
	Calibration CalibrationSettings          `yaml:"calibration" json:"calibration"`
	Beats       BeatSettings                 `yaml:"beats" json:"beats"`
	Central     CentralSettings              `yaml:"central" json:"central"`
	Uncertainty UncertaintySettings          `yaml:"uncertainty" json:"uncertainty"`
	Quality     QualitySettings              `yaml:"quality" json:"quality"`
	Protocol    ProtocolSettings             `yaml:"protocol" json:"protocol"`
	Replicates  ReplicateSettings            `yaml:"replicates" json:"replicates"`
	Analysis    Analysis                     `yaml:"analysis" json:"analysis"`
	Disclosure  DisclosureSettings           `yaml:"disclosure" json:"disclosure"`
	Privacy     PrivacySettings              `yaml:"privacy" json:"privacy"`
}

// StudyIdentity names the study.
type StudyIdentity struct {
	ID    string `yaml:"id" json:"id"`
	Title string `yaml:"title" json:"title,omitempty"`
}

// TableFiles names the files of the tables, relative to the study folder.
type TableFiles struct {
	Subjects   string `yaml:"subjects" json:"subjects"`
	Visits     string `yaml:"visits" json:"visits"`
	Cuff       string `yaml:"cuff" json:"cuff"`
	Recordings string `yaml:"recordings" json:"recordings"`
	Reviews    string `yaml:"reviews" json:"reviews,omitempty"`
	Withdrawn  string `yaml:"withdrawn" json:"withdrawn,omitempty"`
}

// CSVSettings says how the text of the tables is written, where a study cannot
// change its files. It acts on the tables alone; waveforms have their own.
type CSVSettings struct {
	Delimiter string `yaml:"delimiter" json:"delimiter"` // comma, semicolon, tab
	Decimal   string `yaml:"decimal" json:"decimal"`     // point, comma
	Dates     string `yaml:"dates" json:"dates"`         // yyyy-mm-dd, dd.mm.yyyy, dd/mm/yyyy, mm/dd/yyyy
	Encoding  string `yaml:"encoding" json:"encoding"`   // utf-8, utf-16, windows-1252

	LineEnds   string `yaml:"line_ends" json:"line_ends"`     // lf (CRLF too), any (a lone CR too)
	LineBreaks string `yaml:"line_breaks" json:"line_breaks"` // within a quoted cell: refuse, blank
	Blanks     string `yaml:"blanks" json:"blanks"`           // non-breaking and zero-width ones within text: refuse, plain
	Thousands  string `yaml:"thousands" json:"thousands"`     // sign between groups of three digits: none, space, comma, point, apostrophe
	// The first of the hundred years that years of two digits stand for; 0: they are refused.
	TwoDigitYearsFrom int `yaml:"two_digit_years_from" json:"two_digit_years_from"`
}

// WaveformSettings says how the text of csv waveforms is written, of all alike.
type WaveformSettings struct {
	Delimiter string `yaml:"delimiter" json:"delimiter"` // comma, semicolon, tab, pipe, space, or the sign itself
	Decimal   string `yaml:"decimal" json:"decimal"`     // point, comma
	Encoding  string `yaml:"encoding" json:"encoding"`   // utf-8, utf-16 (what has its mark; others stay UTF-8)

	LineEnds   string `yaml:"line_ends" json:"line_ends"`     // lf (CRLF too), any (a lone CR too)
	LineBreaks string `yaml:"line_breaks" json:"line_breaks"` // within a quoted cell: refuse, blank
	Thousands  string `yaml:"thousands" json:"thousands"`     // sign between groups of three digits: none, space, comma, point, apostrophe
	TimeColumn string `yaml:"time_column" json:"time_column"` // name, or position from 1
	TimeUnit   string `yaml:"time_unit" json:"time_unit"`     // s, ms, us, min
	HeaderLine int    `yaml:"header_line" json:"header_line"` // from 1
	FirstLine  int    `yaml:"first_line" json:"first_line"`   // of the samples; 0: the one below the header
}

// TimeUnits gives the seconds in each unit of time that waveforms may have.
func TimeUnits() map[string]float64 {
	return map[string]float64{"s": 1, "ms": 1e-3, "us": 1e-6, "min": 60}
}

// Delimiters are the signs between cells that have a name in the settings.
func Delimiters() map[string]byte {
	return map[string]byte{"comma": ',', "semicolon": ';', "tab": '\t', "pipe": '|', "space": ' '}
}

// Signs returns delimiter and decimal sign; false where a setting names none.
func (w WaveformSettings) Signs() (delimiter, decimal byte, ok bool) {
	delimiter, ok = Delimiters()[w.Delimiter]
	if !ok && len(w.Delimiter) == 1 && strings.Contains("!#$%&*/:;<>?@\\^_`|~,", w.Delimiter) {
		delimiter, ok = w.Delimiter[0], true
	}
	decimal, known := map[string]byte{"point": '.', "comma": ','}[w.Decimal]
	return delimiter, decimal, ok && known && delimiter != decimal
}

// Covariate declares an extra column that the study uses.
type Covariate struct {
	Name   string    `yaml:"name" json:"name"`
	In     string    `yaml:"in" json:"in"`     // subjects or visits
	Type   string    `yaml:"type" json:"type"` // number, integer, category, date or text
	Levels []string  `yaml:"levels" json:"levels,omitempty"`
	Unit   string    `yaml:"unit" json:"unit,omitempty"`
	Range  []float64 `yaml:"range" json:"range,omitempty"` // low and high, both plausible
}

// CuffSettings says how the readings of a visit are combined.
type CuffSettings struct {
	Rule string `yaml:"rule" json:"rule"`
}

// CalibrationSettings says how a wave gets its scale.
type CalibrationSettings struct {
	Primary    string  `yaml:"primary" json:"primary"` // sbp_dbp, map_dbp, as_recorded
	Map        string  `yaml:"map" json:"map"`         // cuff_or_factor, cuff, factor
	FormFactor float64 `yaml:"form_factor" json:"form_factor"`
}

// BeatSettings says how beats are found and how many are needed.
type BeatSettings struct {
	LowpassHz   float64 `yaml:"lowpass_hz" json:"lowpass_hz"`
	MinAccepted int     `yaml:"min_accepted" json:"min_accepted"`
	MinSeconds  float64 `yaml:"min_seconds" json:"min_seconds"`
}

// CentralSettings picks the estimator of the aortic wave.
type CentralSettings struct {
	Method       string   `yaml:"method" json:"method"`
	Also         []string `yaml:"also" json:"also"`
	TransferFile string   `yaml:"transfer_file" json:"transfer_file,omitempty"` // of transfer_table, relative to the study folder
}

// UncertaintySettings are the spreads behind the components of a standard error.
type UncertaintySettings struct {
	CuffSBPSDMmHg     float64 `yaml:"cuff_sbp_sd_mmhg" json:"cuff_sbp_sd_mmhg"`         // of one systolic reading within a person and visit
	CuffDBPSDMmHg     float64 `yaml:"cuff_dbp_sd_mmhg" json:"cuff_dbp_sd_mmhg"`         // of one diastolic reading
	CuffCorrelation   float64 `yaml:"cuff_correlation" json:"cuff_correlation"`         // between the two
	RadialStepSDMmHg  float64 `yaml:"radial_step_sd_mmhg" json:"radial_step_sd_mmhg"`   // of radial − brachial SBP between people
	CentralStepSDMmHg float64 `yaml:"central_step_sd_mmhg" json:"central_step_sd_mmhg"` // of brachial − aortic SBP, for a carotid or aortic wave
	FormFactorSD      float64 `yaml:"form_factor_sd" json:"form_factor_sd"`             // of the brachial form factor between people
	MeanFallSDMmHg    float64 `yaml:"mean_fall_sd_mmhg" json:"mean_fall_sd_mmhg"`       // of the difference in mean pressure between aorta and wrist
	TransferSBPSDMmHg float64 `yaml:"transfer_sbp_sd_mmhg" json:"transfer_sbp_sd_mmhg"` // least SD of what a transfer function does to SBP
	TransferDBPSDMmHg float64 `yaml:"transfer_dbp_sd_mmhg" json:"transfer_dbp_sd_mmhg"` // to DBP
	TransferPPSDMmHg  float64 `yaml:"transfer_pp_sd_mmhg" json:"transfer_pp_sd_mmhg"`   // to PP
}

// DefaultUncertainty returns the published spreads.
//
// Cuff: three readings of 6,100 adults, NHANES 2021–2023, computed from the
// public file (pooled within-person SD and correlation). Radial step: Picone
// 2015, J Hypertens, doi 10.1097/HJH.0000000000000637 (8 ± 7 and 14 ± 7 mmHg).
// Central step: Bui 2023, Hypertens Res 46:1961-9 (7.3 ± 9.1). Form factor: Bos
// 2007, J Hypertens 25:751-5 (39.5 ± 2.5 %). Mean pressure: Pauca 2001,
// Hypertension 38:932-7 (−0.5 ± 2.0 mmHg, read in a citing page). Least spread of
// a transfer function: Cheng 2013, Int J Cardiol 167:1867-76 (22 studies against
// catheters, calibrated to invasive pressure: ± 4.1, 2.1 and 5.1 mmHg), since the spread of
// its two numbers between people is not all that a tube gets wrong.
func DefaultUncertainty() UncertaintySettings {
	return UncertaintySettings{
		CuffSBPSDMmHg: 4.7, CuffDBPSDMmHg: 3.2, CuffCorrelation: 0.25,
		RadialStepSDMmHg: 7, CentralStepSDMmHg: 9.1, FormFactorSD: 0.025, MeanFallSDMmHg: 2.0,
		TransferSBPSDMmHg: 4.1, TransferDBPSDMmHg: 2.1, TransferPPSDMmHg: 5.1,
	}
}

// QualitySettings says which grade is analysed.
type QualitySettings struct {
	MinGrade string `yaml:"min_grade" json:"min_grade"`
}

// ProtocolSettings says what a departure from the protocol does.
type ProtocolSettings struct {
	OnDeparture string             `yaml:"on_departure" json:"on_departure"` // flag or exclude
	Limits      map[string]float64 `yaml:"-" json:"limits"`                  // smallest minutes or hours by column
	Forbidden   map[string]string  `yaml:"-" json:"forbidden"`               // level that departs, by column
}

// ReplicateSettings says how several recordings of a visit are combined.
type ReplicateSettings struct {
	Rule string `yaml:"rule" json:"rule"` // mean, best, first
}

// Analysis is the plan of the statistics.
type Analysis struct {
	Visit        string              `yaml:"visit" json:"visit"`
	Age          AgeSettings         `yaml:"age" json:"age"`
	BPScheme     string              `yaml:"bp_scheme" json:"bp_scheme"` // published scheme that bp_class follows
	Weights      WeightSettings      `yaml:"weights" json:"weights"`
	Change       ChangeSettings      `yaml:"change" json:"change"`
	Standardise  StandardSettings    `yaml:"standardise" json:"standardise"`
	Precision    PrecisionSettings   `yaml:"precision" json:"precision"`
	Equivalence  map[string]float64  `yaml:"equivalence" json:"equivalence"` // by variable: margin within which a difference from published values does not matter
	Sets         map[string][]Rule   `yaml:"sets" json:"sets"`
	SetOrder     []string            `yaml:"set_order" json:"set_order,omitempty"` // the sets, the most important first: what disclosure control hides last; empty: as they stand in sets
	Variables    []string            `yaml:"variables" json:"variables"`
	Strata       []string            `yaml:"strata" json:"strata"`
	QuantileType int                 `yaml:"quantile_type" json:"quantile_type"` // of Hyndman and Fan, 1 to 9
	Threshold    map[string]float64  `yaml:"threshold" json:"threshold"`
	Models       []Model             `yaml:"models" json:"models"`
	Sensitivity  SensitivitySettings `yaml:"sensitivity" json:"sensitivity"`
	CompareWith  PublishedNames      `yaml:"compare_with" json:"compare_with"`
	CompareFiles map[string]string   `yaml:"-" json:"compare_files,omitempty"` // by name in CompareWith: the study's own file, where the plan names it {name: …, file: …}
	Centiles     []CentileSettings   `yaml:"centiles" json:"centiles"`
	Tables       TableSettings       `yaml:"tables" json:"tables"`
}

// PublishedNames are published sets by name: one that ships, a file of the study
// that ends in .csv, or the name that the plan gives a file.
type PublishedNames []string

// AgeSettings says how age becomes a band.
type AgeSettings struct {
	CompletedYears bool      `yaml:"completed_years" json:"completed_years"`
	Bands          []float64 `yaml:"bands" json:"bands"` // lower bounds, ascending; the last is open above
}

// Rule keeps the rows in which one column fulfils one condition. A missing
// value never fulfils it.
type Rule struct {
	Column  string   `json:"column"`
	Levels  []string `json:"levels,omitempty"`   // the cell is one of these
	Below   *float64 `json:"below,omitempty"`    // cell < Below
	AtLeast *float64 `json:"at_least,omitempty"` // cell ≥ AtLeast
	Above   *float64 `json:"above,omitempty"`    // cell > Above
	AtMost  *float64 `json:"at_most,omitempty"`  // cell ≤ AtMost
}

// PrivacySettings says what a results folder tells of who the people are. The
// key that keyed pseudonyms and dates need is never a setting: it is given to
// the command, and the manifest names it by its id alone.
type PrivacySettings struct {
	IDs       string  `yaml:"ids" json:"ids"`               // as_given; keyed: HMAC-SHA-256 of each; renumber: by sorted order
	AgeTop    float64 `yaml:"age_top" json:"age_top"`       // older people are given this age; 0: no top
	DateShift string  `yaml:"date_shift" json:"date_shift"` // none; keyed: dates of a person lie 1 to 365 days earlier, all by the same number
}

// DefaultSettings returns the settings that hold where study.yaml is silent.
// Sources: methods as published or "own choice", beside each value.
func DefaultSettings() Settings {
	return Settings{
		CSV: CSVSettings{Delimiter: "comma", Decimal: "point", Dates: "yyyy-mm-dd", Encoding: "utf-8",
			LineEnds: "lf", LineBreaks: "refuse", Blanks: "refuse", Thousands: "none"},
		Waveforms: WaveformSettings{Delimiter: "comma", Decimal: "point", Encoding: "utf-8",
			LineEnds: "lf", LineBreaks: "refuse", Thousands: "none", TimeColumn: "time_s", TimeUnit: "s", HeaderLine: 1},
		Cuff: CuffSettings{Rule: "drop_first_of_three"}, // own choice between published rules
		Calibration: CalibrationSettings{
			Primary:    "sbp_dbp", // as most published tables
			Map:        "cuff_or_factor",
			FormFactor: 0.40, // Bos 2007, J Hypertens 25:751-5
		},
		Beats:       BeatSettings{LowpassHz: 20, MinAccepted: 8, MinSeconds: 5}, // own choice
		Central:     CentralSettings{Method: "tube_constant", Also: []string{"moving_average"}},
		Uncertainty: DefaultUncertainty(),
		Quality:     QualitySettings{MinGrade: "doubtful"},
		Protocol:    DefaultProtocol(),
		Replicates:  ReplicateSettings{Rule: "mean"},
		Analysis:    DefaultAnalysis(),
		Disclosure:  DefaultDisclosure(),
		Privacy:     PrivacySettings{IDs: "as_given", DateShift: "none"},
	}
}

// DefaultProtocol returns the limits on what may spoil a reading.
//
// Rest: 10 min (Van Bortel 2002, Am J Hypertens 15:445-52). Caffeine, tobacco,
// meal 3 h and alcohol 10 h: Laurent 2006, Eur Heart J 27:2588-605 (from
// memory). Exercise: 0.5 h, the cuff rule of AHA/ACC as restated in KDIGO 2021.
// Posture: neither supine (Laurent 2006, from memory) nor seated.
func DefaultProtocol() ProtocolSettings {
	return ProtocolSettings{
		OnDeparture: "flag",
		Limits: map[string]float64{
			"rest_min": 10, "caffeine_h": 3, "exercise_h": 0.5, "tobacco_h": 3, "meal_h": 3, "alcohol_h": 10,
		},
		Forbidden: map[string]string{"vasoactive": "yes", "legs_crossed": "yes", "posture": "standing"},
	}
}

// DefaultAnalysis returns the plan that holds where the study declares none.
func DefaultAnalysis() Analysis {
	return Analysis{
		Visit:     "first",
		Age:       AgeSettings{CompletedYears: true, Bands: []float64{18, 30, 40, 50, 60, 70, 80}},
		BPScheme:  DefaultBPScheme,
		Weights:   WeightSettings{SinglePSU: "centred"},
		Change:    DefaultChange(),
		Precision: DefaultPrecision(),
		Sets:      map[string][]Rule{"all": {}},
		Variables: []string{"central_sbp_mmhg", "central_pp_mmhg", "pp_amplification_ratio", "augmentation_index_pct"},
		Strata:    []string{"sex", "age_band"},
		// Type 8: nearly median-unbiased whatever the distribution, and the one
		// its authors recommend (Hyndman and Fan 1996, Am Stat 50:361-5).
		QuantileType: 8,
		Threshold:    map[string]float64{"central_pp_mmhg": 50}, // outcome threshold: Roman 2009, JACC 54:1730-4
		Models:       DefaultModels(),
		Sensitivity:  DefaultSensitivity(),
		CompareWith:  []string{"mceniery2005"},
		Centiles:     DefaultCentiles(),
		Tables:       TableSettings{Style: "standard"},
	}
}
