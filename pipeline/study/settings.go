package study

import (
	"fmt"
	"maps"
	"path"
	"reflect"
	"slices"
	"strings"

	"tonocohort/schema"
)

// decodeSettings reads study.yaml. The settings have their defaults filled in;
// the decoder knows the faults and where each setting stands.
func decodeSettings(data []byte, o Options) (schema.Settings, *decoder) {
	d, s := newDecoder(SettingsFile), schema.DefaultSettings()
	root := d.parse(data)
	if root == nil {
		return s, d
	}
	d.value(root, reflect.ValueOf(&s).Elem(), "")
	s.Analysis.CompareFiles = d.compareFiles
	d.orderSets(&s.Analysis, "analysis")
	if o.Settings != nil {
		s = *o.Settings
	}
	if !d.given("central.also") {
		s.Central.Also = slices.DeleteFunc(s.Central.Also, func(m string) bool { return m == s.Central.Method })
	}
	d.checkIdentity(s)
	d.checkTables(s)
	d.checkCSV(s.CSV)
	d.checkWaveforms(s.Waveforms)
	d.checkRename(s.Rename)
	d.checkCovariates(s.Covariates)
	d.checkRecode(s)
	d.checkUnits(s)
	d.checkMethods(s, o)
	d.checkAnalysis(s.Analysis, "analysis", o)
	return s, d
}

func (d *decoder) required(path string) bool {
	if d.given(path) {
		return true
	}
	d.fault(path, "", "missing_setting", "required", "")
	return false
}

func (d *decoder) checkIdentity(s schema.Settings) {
	if d.required("format") && s.Format != 1 {
		d.fault("format", fmt.Sprint(s.Format), "format_version", "this version reads format 1", "")
	}
	if d.required("study.id") && s.Study.ID != "" && !isIdentifier(s.Study.ID) {
		d.fault("study.id", s.Study.ID, "bad_id", identifierRule, "")
	}
}

// tableFiles lists the declared files in the order in which they are read.
func tableFiles(t schema.TableFiles) []struct{ table, file string } {
	return []struct{ table, file string }{
		{"withdrawn", t.Withdrawn}, {"subjects", t.Subjects}, {"visits", t.Visits},
		{"cuff", t.Cuff}, {"recordings", t.Recordings}, {"reviews", t.Reviews},
	}
}

func (d *decoder) checkTables(s schema.Settings) {
	for _, name := range []string{"subjects", "visits", "cuff", "recordings"} {
		d.required("tables." + name)
	}
	seen := map[string]string{}
	for _, t := range tableFiles(s.Tables) {
		at := "tables." + t.table
		if !d.given(at) || t.file == "" {
			continue
		}
		if !isLocal(t.file) {
			d.fault(at, t.file, "file_outside_study", "the path must stay inside the study folder", "a relative path with '/', without '..'")
		}
		clean := path.Clean(t.file)
		if other, twice := seen[clean]; twice {
			d.fault(at, t.file, "same_file", "the same file as tables."+other, "each table is a file of its own")
		}
		seen[clean] = t.table
	}
}

// oldestTop and youngestTop bound the age above which people are lumped: a
// lower one would blunt the analysis by age, a higher one hides nobody.
const (
	youngestTop = 60
	oldestTop   = 120
)

func (d *decoder) checkPrivacy(p schema.PrivacySettings) {
	d.oneOf("privacy.ids", p.IDs, []string{"as_given", "keyed", "renumber"})
	d.oneOf("privacy.date_shift", p.DateShift, []string{"none", "keyed"})
	if d.given("privacy.age_top") {
		d.within("privacy.age_top", p.AgeTop, youngestTop, oldestTop)
	}
}

// inputColumns returns the columns that the tables declare, by table.
func inputColumns() map[string]schema.Table {
	tables := map[string]schema.Table{}
	for _, t := range schema.InputTables() {
		tables[t.Name] = t
	}
	return tables
}

func (d *decoder) checkCovariates(covariates []schema.Covariate) {
	inputs := inputColumns()
	results := schema.SubjectVisitsTable(nil)
	seen := map[string]bool{}
	for i, c := range covariates {
		at := fmt.Sprintf("covariates[%d]", i)
		for _, field := range []string{"name", "in", "type"} {
			if !d.given(join(at, field)) {
				d.fault(join(at, field), "", "missing_setting", "required for a covariate", "{name: smoker, in: subjects, type: category}")
			}
		}
		d.oneOf(at+".in", c.In, []string{"subjects", "visits"})
		d.oneOf(at+".type", c.Type, []string{"number", "integer", "category", "date", "text"})
		switch {
		case c.Name == "":
		case !isColumnName(c.Name):
			d.fault(at+".name", c.Name, "bad_name", "a column name starts with a letter and holds letters, digits, '_', '-' and '.', at most 64", "")
		case inputs["subjects"].Index(c.Name) >= 0 || inputs["visits"].Index(c.Name) >= 0:
			d.fault(at+".name", c.Name, "reserved_name", "a column of the contract, which needs no declaration", "remove this covariate")
		case results.Index(c.Name) >= 0 && c.Name != schema.OperatorColumn || c.Name == "age_band" || derivedByName(c.Name) != nil || strings.HasPrefix(c.Name, schema.DepartedPrefix):
			d.fault(at+".name", c.Name, "reserved_name", "a column of the results has this name", "rename the column")
		case seen[c.Name]:
			d.fault(at+".name", c.Name, "duplicate_covariate", "declared twice", "keep one")
		}
		seen[c.Name] = true
		d.checkCovariateValues(c, at)
	}
}

func (d *decoder) checkCovariateValues(c schema.Covariate, at string) {
	numeric := c.Type == "number" || c.Type == "integer"
	if len(c.Levels) > 0 && c.Type != "category" {
		d.fault(at+".levels", "", "levels_not_category", "only a category has levels", "type: category")
	}
	seen := map[string]bool{}
	for i, level := range c.Levels {
		path := fmt.Sprintf("%s.levels[%d]", at, i)
		switch {
		case !isIdentifier(level):
			d.fault(path, level, "bad_level", identifierRule, "use recode to give the level another name")
		case seen[level]:
			d.fault(path, level, "duplicate_level", "named twice", "keep one")
		}
		seen[level] = true
	}
	if !d.given(at + ".range") {
		return
	}
	switch {
	case !numeric:
		d.fault(at+".range", "", "range_not_number", "only a number or an integer has a range", "")
	case len(c.Range) != 2 || c.Range[0] >= c.Range[1]:
		d.fault(at+".range", "", "bad_range", "a range is [low, high] with low < high", "")
	}
}

// checkRecode sees that every recoded column exists and every level that
// comes out of it is one that the column has. The empty text is missing.
func (d *decoder) checkRecode(s schema.Settings) {
	columns := d.knownColumns(s)
	for _, name := range slices.Sorted(maps.Keys(s.Recode)) {
		at := "recode." + name
		c, ok := columns[name]
		if !ok {
			d.fault(at, "", "unknown_column", "no column of the tables has this name", didYouMean(name, slices.Sorted(maps.Keys(columns))))
			continue
		}
		for _, from := range slices.Sorted(maps.Keys(s.Recode[name])) {
			to := s.Recode[name][from]
			if to != "" && c.Kind == schema.Category && len(c.Levels) > 0 && !slices.Contains(c.Levels, to) {
				d.fault(join(at, from), to, "unknown_level", "not a level of "+name+": "+strings.Join(c.Levels, ", "), didYouMean(to, c.Levels))
			}
		}
	}
}

// knownColumns lists the columns of every table by name, covariates included.
func (d *decoder) knownColumns(s schema.Settings) map[string]schema.Column {
	columns := map[string]schema.Column{}
	for _, t := range schema.InputTables() {
		for _, c := range t.Columns {
			columns[c.Name] = c
		}
	}
	for _, c := range s.Covariates {
		columns[c.Name] = covariateColumn(c)
	}
	return columns
}

// covariateColumn declares the column that a covariate is.
func covariateColumn(c schema.Covariate) schema.Column {
	column := schema.Column{Name: c.Name, Kind: schema.Kind(c.Type), Unit: c.Unit, Levels: c.Levels,
		Required: true, Meaning: "covariate of the study", Source: "declared by the study"}
	if len(c.Range) == 2 && c.Range[0] < c.Range[1] {
		column = column.Between(c.Range[0], c.Range[1])
	}
	return column
}

func (d *decoder) checkUnits(s schema.Settings) {
	columns := d.knownColumns(s)
	for _, name := range slices.Sorted(maps.Keys(s.Units)) {
		at, from := "units."+name, s.Units[name]
		c, ok := columns[name]
		switch {
		case !ok:
			d.fault(at, "", "unknown_column", "no column of the tables has this name", didYouMean(name, slices.Sorted(maps.Keys(columns))))
		case !c.Numeric():
			d.fault(at, from, "unit_not_number", name+" holds no numbers", "")
		default:
			if _, ok := conversionFor(name, c.Unit, from); ok {
				continue
			}
			hint := "no conversion into this unit is known"
			if known := knownUnits(name, c.Unit); len(known) > 0 {
				hint = "known for " + name + ": " + strings.Join(known, ", ")
			}
			d.fault(at, from, "unknown_unit", fmt.Sprintf("no conversion from this unit to %q", c.Unit), hint)
		}
	}
	d.once("derive", s.Derive)
	for i, name := range s.Derive {
		d.oneOf(fmt.Sprintf("derive[%d]", i), name, derivedNames())
	}
}

func (d *decoder) checkMethods(s schema.Settings, o Options) {
	d.oneOf("cuff.rule", s.Cuff.Rule, schema.CuffRules)
	d.oneOf("calibration.primary", s.Calibration.Primary, []string{"sbp_dbp", "map_dbp", "as_recorded"})
	d.oneOf("calibration.map", s.Calibration.Map, []string{"cuff_or_factor", "cuff", "factor"})
	d.within("calibration.form_factor", s.Calibration.FormFactor, 0.2, 0.6)
	d.within("beats.lowpass_hz", s.Beats.LowpassHz, 5, 100)
	d.within("beats.min_accepted", float64(s.Beats.MinAccepted), 1, 1000)
	d.within("beats.min_seconds", s.Beats.MinSeconds, 0, 600)
	u := s.Uncertainty
	d.within("uncertainty.cuff_sbp_sd_mmhg", u.CuffSBPSDMmHg, 0, 30)
	d.within("uncertainty.cuff_dbp_sd_mmhg", u.CuffDBPSDMmHg, 0, 30)
	d.within("uncertainty.cuff_correlation", u.CuffCorrelation, -1, 1)
	d.within("uncertainty.radial_step_sd_mmhg", u.RadialStepSDMmHg, 0, 30)
	d.within("uncertainty.central_step_sd_mmhg", u.CentralStepSDMmHg, 0, 30)
	d.within("uncertainty.form_factor_sd", u.FormFactorSD, 0, 0.2)
	d.within("uncertainty.mean_fall_sd_mmhg", u.MeanFallSDMmHg, 0, 20)
	d.within("uncertainty.transfer_sbp_sd_mmhg", u.TransferSBPSDMmHg, 0, 30)
	d.within("uncertainty.transfer_dbp_sd_mmhg", u.TransferDBPSDMmHg, 0, 30)
	d.within("uncertainty.transfer_pp_sd_mmhg", u.TransferPPSDMmHg, 0, 30)
	d.supported("central.method", s.Central.Method, schema.CentralMethods, o.CentralMethods)
	for i, method := range s.Central.Also {
		at := fmt.Sprintf("central.also[%d]", i)
		d.supported(at, method, schema.CentralMethods, o.CentralMethods)
		if method == s.Central.Method || slices.Index(s.Central.Also, method) < i {
			d.fault(at, method, "duplicate_method", "named twice", "central.also adds to central.method")
		}
	}
	d.oneOf("quality.min_grade", s.Quality.MinGrade, []string{"usable", "doubtful", "unusable"})
	d.oneOf("protocol.on_departure", s.Protocol.OnDeparture, []string{"flag", "exclude"})
	for _, name := range protocolNumbers() {
		if limit, ok := s.Protocol.Limits[name]; ok {
			d.within("protocol."+name, limit, 0, 1000)
		}
	}
	d.oneOf("replicates.rule", s.Replicates.Rule, []string{"mean", "best", "first"})
	d.within("disclosure.min_cell", float64(s.Disclosure.MinCell), 1, 1000)
	d.oneOf("disclosure.on_violation", s.Disclosure.OnViolation, []string{"suppress", "block"})
	d.within("disclosure.min_degrees", float64(s.Disclosure.MinDegrees), 0, 1000)
	d.within("disclosure.dominance.n", float64(s.Disclosure.Dominance.N), 0, 100)
	d.within("disclosure.dominance.k", s.Disclosure.Dominance.K, 1, 100)
	d.within("disclosure.p_percent", s.Disclosure.PPercent, 0, 100)
	d.within("disclosure.rounding", float64(s.Disclosure.Rounding), 0, 100)
	d.checkPrivacy(s.Privacy)
}

// within reports a number outside its range, ends included; the ranges are
// limits of our own beyond which a setting can only be a slip.
func (d *decoder) within(path string, v, low, high float64) {
	if v < low || v > high {
		d.fault(path, plainNumber(v), "out_of_range", fmt.Sprintf("outside %s to %s", plainNumber(low), plainNumber(high)), "")
	}
}
