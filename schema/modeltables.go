package schema

// EffectsTable declares the estimated effects that are no single number: curves
// of a bent term, slopes that differ between levels, differences between levels
// that change with a number.
func EffectsTable() Table {
	return statisticTable("effects", "point of a curve", "estimated effects over the range of a column: the difference of the outcome from that at the reference, all else equal",
		text("model", "name of the model"),
		text("term", "whose effect it is: a column, or a level against its reference"),
		text("over", "column that x is of"),
		text("at", "values of the columns that interact with it; empty: none do"),
		number("x", "", "value of the column"),
		text("reference", "value or level that the effect is counted from"),
	)
}

// ResidualsTable declares what each row counts in each model.
func ResidualsTable() Table {
	return Table{Name: "residuals", RowPer: "model, subject and visit", Restricted: true,
		Meaning: "fitted values, residuals and influence of each row of each declared model",
		Columns: []Column{
			key(text("subject_id", "the person")),
			key(text("visit_id", "the visit")),
			text("set", "analysis set of the model"),
			text("variable", "outcome of the model"),
			text("model", "name of the model"),
			number("observed", "", "outcome; 1 for the event and 0 for none in a model of an event"),
			number("fitted", "", "fitted value, quantile or probability"),
			number("residual", "", "observed less fitted"),
			number("leverage", "1", "how much the row counts in its own fitted value, 0 to 1"),
			number("standardised", "1", "residual over its own standard error"),
			number("studentised", "1", "the same with the error estimated without the row"),
			number("cook", "1", "change of all fitted values when the row is left out").From("Cook 1977, Technometrics 19:15-18"),
			number("dffits", "1", "change of the row's own fitted value, in standard errors"),
			text("note", "what belongs to the row"),
		}}
}

// ImputationTracesTable declares the course of the imputed values.
func ImputationTracesTable() Table {
	return Table{Name: "imputation_traces", RowPer: "model, column, imputation and iteration", Restricted: true,
		Meaning: "mean and spread of the imputed values by iteration: where they drift, more iterations are needed; where copies stay apart, the chains do not mix",
		Columns: []Column{
			text("set", "analysis set of the model"),
			text("variable", "outcome of the model"),
			text("model", "name of the model"),
			text("column", "imputed column"),
			text("method", "how it was imputed"),
			integer("imputation", "completed copy, from 1"),
			integer("iteration", "pass through the columns, from 1"),
			integer("n", "imputed values"),
			number("mean", "", "their mean; of a column with levels that of the level's number, from 0"),
			number("sd", "", "their standard deviation"),
		}}
}
