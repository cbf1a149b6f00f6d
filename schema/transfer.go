package schema

// TransferFormat is the version of a transfer-function file.
const TransferFormat = 1

// TransferKind is what every transfer-function file says it is.
const TransferKind = "transfer_function"

// Transfer is a transfer-function file: what was derived from paired recordings,
// how far it can be trusted, and from what. `run` uses Table alone, and
// Residual for its standard errors.
//
// The gain is that from the artery to the aorta, 1 at 0 Hz; both waves begin at
// their foot, so a phase has no delay between the two places in it. The file
// names no person and no path: inputs stand by digest.
type Transfer struct {
	Format        int     `json:"format"`
	Kind          string  `json:"kind"`
	Caution       string  `json:"caution"`
	Artery        string  `json:"artery"`               // radial or brachial: the only one it is for
	CentralArtery string  `json:"central_artery"`       // aortic or carotid: where the truth was measured
	Direction     string  `json:"direction"`            // artery_to_aorta
	Source        string  `json:"source"`               // who measured it; stands beside every value made with it
	Method        string  `json:"method"`               // of the average over subjects
	Resampling    string  `json:"resampling,omitempty"` // how the average beats of the two places came to one grid
	BandMethod    string  `json:"band_method,omitempty"`
	Level         float64 `json:"level,omitempty"` // of the bands and intervals

	Counts    TransferCounts     `json:"counts"`
	Table     []TransferRow      `json:"table"`
	Harmonics []TransferHarmonic `json:"harmonics"`
	Tubes     []TransferTube     `json:"tubes"`
	FootDelay *TransferMoments   `json:"foot_delay_ms,omitempty"` // foot at the artery − foot of the central wave, where both were recorded at once
	MeanStep  TransferMoments    `json:"mean_step_mmhg"`          // mean pressure at the artery − mean central pressure: the gain at 0 Hz does not hold it
	Folds     int                `json:"folds"`                   // of the validation on whole subjects
	Validated []TransferError    `json:"validation"`
	Residual  *TransferResidual  `json:"residual,omitempty"`
	Notes     []string           `json:"notes,omitempty"`

	Settings TransferSettings `json:"settings"`
	Inputs   []TransferInput  `json:"inputs"`
	Build    Build            `json:"build"`
	Content  string           `json:"content"` // SHA-256 of the canonical JSON of everything above
}

// TransferCounts says what became of the pairs: Pairs.Found = Used + Excluded + Failed.
type TransferCounts struct {
	Subjects int   `json:"subjects"` // with a pair that was used
	Pairs    Tally `json:"pairs"`
}

// TransferRow is the gain at one frequency. The bounds are null where there are
// too few subjects for a band.
type TransferRow struct {
	Hz           float64  `json:"hz"`
	Modulus      float64  `json:"modulus"`
	ModulusLow   *float64 `json:"modulus_low"`
	ModulusHigh  *float64 `json:"modulus_high"`
	PhaseDeg     float64  `json:"phase_deg"`
	PhaseLowDeg  *float64 `json:"phase_low_deg"`
	PhaseHighDeg *float64 `json:"phase_high_deg"`
	Coherence    float64  `json:"coherence"` // between subjects, magnitude squared
	Subjects     int      `json:"subjects"`  // whose harmonics reach the frequency
}

// TransferHarmonic is the gain by number of harmonic, whatever its frequency.
type TransferHarmonic struct {
	Harmonic  int     `json:"harmonic"`
	MeanHz    float64 `json:"mean_hz"`
	Modulus   float64 `json:"modulus"`
	PhaseDeg  float64 `json:"phase_deg"`
	Coherence float64 `json:"coherence"`
	Subjects  int     `json:"subjects"`
}

// TransferTube is a tube beside the measured gain: fitted to it, or as published.
type TransferTube struct {
	Method     string              `json:"method"`
	Fitted     bool                `json:"fitted"`
	Parameters []TransferParameter `json:"parameters"`
	// Misfit is the root mean square difference to the measured gain, weighted
	// by the power of the peripheral wave, as a share of the latter's harmonics.
	Misfit   float64   `json:"misfit"`
	Modulus  []float64 `json:"modulus"`   // at the frequencies of the table
	PhaseDeg []float64 `json:"phase_deg"` // feet aligned
}

// TransferParameter is one number of a tube with its standard error, null where
// there are too few subjects.
type TransferParameter struct {
	Name  string   `json:"name"` // with its unit at the end
	Value float64  `json:"value"`
	SE    *float64 `json:"se"`
}

// TransferMoments describes a number that each subject has.
type TransferMoments struct {
	Subjects int     `json:"subjects"`
	Mean     float64 `json:"mean"`
	SD       float64 `json:"sd"`
}

// TransferError is how far one method is from the measured central wave, in one
// variable, estimate − measured, one difference per subject. Limits of agreement
// are null where there are too few subjects, and for the wave error, which is no
// difference.
type TransferError struct {
	Method    string   `json:"method"`
	OutOfFold bool     `json:"out_of_fold"` // every subject was estimated from the others; else nothing was fitted
	Variable  string   `json:"variable"`
	Unit      string   `json:"unit"`
	Subjects  int      `json:"subjects"`
	Bias      float64  `json:"bias"`
	BiasLow   *float64 `json:"bias_low"`
	BiasHigh  *float64 `json:"bias_high"`
	SD        float64  `json:"sd"`
	LimitLow  *float64 `json:"limit_low"` // limits of agreement: bias ± 1.96 SD
	LimitHigh *float64 `json:"limit_high"`
}

// TransferResidual is the out-of-fold standard deviation of what the table gets
// wrong in a single person: of pressures against mean pressure, as a share of
// the pulse pressure at the artery.
type TransferResidual struct {
	SBP                  float64  `json:"sbp_of_peripheral_pp"`
	DBP                  float64  `json:"dbp_of_peripheral_pp"`
	PP                   float64  `json:"pp_of_peripheral_pp"`
	AugmentationPressure *float64 `json:"augmentation_pressure_of_peripheral_pp"` // null where waves have no shoulder
	AugmentationIndexPct *float64 `json:"augmentation_index_points"`
}

// TransferSettings is how the pairs were worked on.
type TransferSettings struct {
	Beats     BeatSettings `json:"beats"`
	StepHz    float64      `json:"step_hz"`
	HighestHz float64      `json:"highest_hz"`
}

// TransferInput is a file that went in, by its digest; its name may tell who a
// person is.
type TransferInput struct {
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"`
}

// PairsInput declares the columns of a table of paired recordings.
func PairsInput() Table {
	return Table{Name: "pairs", RowPer: "pair", Restricted: true, Meaning: "a central and a peripheral recording of one person",
		Columns: []Column{
			key(text("pair_id", "the pair, unique in the table")),
			key(text("subject_id", "the person; folds are of whole persons")),
			required(text("central_file", "path of the central recording, relative to the folder of this table")),
			required(text("peripheral_file", "path of the peripheral recording; may be the same file with another channel")),
			number("sampling_hz", "Hz", "sampling rate of both; required for csv without a time column").Between(30, 20000).From("own limits"),
			required(category("artery", "where the peripheral sensor lay; the same in all pairs", "radial", "brachial")),
			text("central_channel", "name of the central channel, or its position from 1"),
			text("peripheral_channel", "name of the peripheral channel, or its position from 1"),
			category("central_artery", "where the central sensor lay, the same in all pairs; aortic where nothing is said", "aortic", "carotid"),
			category("format", "format of the files; csv where nothing is said", "csv", "parquet", "edf", "wfdb", "bids"),
			category("unit", "unit of both waves; mmHg where nothing is said. Waves in au get their scale from dbp_mmhg and map_mmhg", "mmHg", "au"),
			number("dbp_mmhg", "mmHg", "diastolic pressure of both waves, for au").Between(30, 160).From("own limits for adults"),
			number("map_mmhg", "mmHg", "mean pressure of both waves, for au").Between(40, 220).From("own limits for adults"),
			category("simultaneous", "both recorded at once, on one clock; where nothing is said, yes for two channels of one file and no for two files", "yes", "no"),
		}}
}
