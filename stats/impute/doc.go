// Package impute completes data with missing values several times over by chained
// equations, and combines the analyses of the completed copies.
package impute
