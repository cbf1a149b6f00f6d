package schema

// WeightKinds are what a weight may stand for; each makes other errors.
//
//   - sampling: the row stands for so many people of a population, from which it
//     was drawn by strata and clusters;
//   - frequency: the row stands for so many people of the sample itself;
//   - precision: the weight is in proportion to one over the variance of the value.
var WeightKinds = []string{"sampling", "frequency", "precision"}

// SinglePSURules are what a sampling stratum with a single unit does: centred
// lets it vary about the mean of all units, certainty lets it add no variance.
var SinglePSURules = []string{"centred", "certainty"}

// WeightSettings names the columns of subject_visits that say how people were
// drawn. Without a column every row counts once.
type WeightSettings struct {
	Column    string `yaml:"column" json:"column"`
	Kind      string `yaml:"kind" json:"kind"`             // one of WeightKinds
	Stratum   string `yaml:"stratum" json:"stratum"`       // sampling stratum; sampling weights only
	Cluster   string `yaml:"cluster" json:"cluster"`       // primary sampling unit; empty: the person
	SinglePSU string `yaml:"single_psu" json:"single_psu"` // one of SinglePSURules
}

// ChangeRules say which visits of a person are set beside each other.
var ChangeRules = []string{"consecutive", "first_last", "none"}

// ChangeSettings says how change between visits is described.
type ChangeSettings struct {
	Between string   `yaml:"between" json:"between"` // one of ChangeRules
	Visits  []string `yaml:"visits" json:"visits"`   // visit ids in order: each with the next, whatever Between says
	Cluster string   `yaml:"cluster" json:"cluster"` // column whose levels are not independent, as family_id or centre
}

// StandardSettings says to which population estimates are standardised.
type StandardSettings struct {
	By     string             `yaml:"by" json:"by"`         // column of classes, as age_band; empty: nothing is standardised
	Shares map[string]float64 `yaml:"shares" json:"shares"` // of the standard population by class; empty: the analysed rows of the study, pooled
}

// PrecisionSettings says for which centiles the number of people needed is told.
type PrecisionSettings struct {
	Centiles []float64 `yaml:"centiles" json:"centiles"` // in percent
	SE       []float64 `yaml:"se_in_sd" json:"se_in_sd"` // wanted standard errors, in units of the standard deviation
}

// DefaultChange describes change between consecutive visits, with errors
// clustered by person.
func DefaultChange() ChangeSettings {
	return ChangeSettings{Between: "consecutive", Visits: []string{}, Cluster: "subject_id"}
}

// DefaultPrecision asks for the outer centiles with an error of a tenth of a
// standard deviation (own choice).
func DefaultPrecision() PrecisionSettings {
	return PrecisionSettings{Centiles: []float64{2.5, 5, 10, 50, 90, 95, 97.5}, SE: []float64{0.1}}
}

// DefaultBPScheme is the scheme of bp_class where the plan names none.
const DefaultBPScheme = "ESC_ESH_2018"

// ChangeTable declares the change between two visits of the same people; strata
// are those of the earlier visit.
func ChangeTable(strata []string) Table {
	between := []Column{
		text("from_visit", "visit_id of the earlier visit, or all"),
		text("to_visit", "visit_id of the later visit, or all"),
	}
	return statisticTable("change", "statistic", "within-person change between two visits, later minus earlier: one row per set, variable, pair of visits, stratum of the earlier visit and statistic",
		append(between, stratumColumns(strata)...)...)
}

// StandardisedTable declares directly standardised estimates.
func StandardisedTable(strata []string) Table {
	return statisticTable("standardised", "statistic", "directly standardised estimates: one row per set, variable, stratum and statistic",
		stratumColumns(strata)...)
}

// PrecisionTable declares how many people a centile needs.
func PrecisionTable() Table {
	return Table{Name: "precision", RowPer: "centile, wanted error and statistic", Meaning: "how many people a centile needs for a stated precision",
		Columns: []Column{
			number("centile_pct", "%", "the centile"),
			number("se_in_sd", "1", "wanted standard error of the centile, in standard deviations of the variable; null where it does not matter"),
			text("statistic", "what is counted"),
			integer("people", "people needed in a stratum"),
			text("method", "how the number was computed"),
		}}
}

func stratumColumns(strata []string) []Column {
	var columns []Column
	for _, s := range strata {
		columns = append(columns, text(s, "stratum: a level of this column, or all"))
	}
	return columns
}

// LikelySameTable declares pairs of ids that are likely one person.
func LikelySameTable() Table {
	return Table{Name: "likely_same", RowPer: "pair of persons", Restricted: true,
		Meaning: "ids that are likely one person: of the same sex, birth date or age and height, with near-equal waves; for a person to judge",
		Columns: []Column{
			key(text("subject_a", "one id")),
			key(text("visit_a", "its visit")),
			key(text("subject_b", "the other id")),
			key(text("visit_b", "its visit")),
			text("sex", "of both"),
			text("matched_on", "birth_date: reckoned from visit_date and age, within a day; age: equal to a hundredth of a year"),
			number("age_a_years", "years", "age at the visit"),
			number("age_b_years", "years", "age at the visit"),
			number("height_a_cm", "cm", "height"),
			number("height_b_cm", "cm", "height; within half a centimetre of the other"),
			number("wave_difference", "1", "root mean square difference of the peripheral waves over one beat, each brought to a pulse pressure of 1; at most 0.03").From("own limit: in the simulated cohort 4 of 5 pairs of recordings of one visit lie below it, and 1 of 40 pairs of different people of one sex, age and height within 2"),
		}}
}
