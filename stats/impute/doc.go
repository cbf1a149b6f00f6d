// Package impute combines analyses of several completed copies of a data set in
// which missing values were imputed.
package impute
