package tabulate

import (
	"fmt"
	"slices"

	"tonocohort/schema"
	"tonocohort/stats/regress"
)

// errorEstimate is a covariance with the name it has in the table.
type errorEstimate struct {
	name string
	*regress.Covariance
}

// solution is a fit of any kind with its error estimates.
type solution struct {
	*regress.Model
	method string // as it stands in the table

	least    *regress.Fit // the one that the kind of model has
	quantile *regress.QuantileFit
	binary   *regress.BinaryFit
	mixed    *regress.MixedFit

	main errorEstimate   // makes the intervals
	all  []errorEstimate // those reported, in the order of their rows
}

// binaryScale is the name of the ratio that the coefficients are logarithms of.
func (s solution) binaryScale() string {
	switch {
	case s.binary == nil:
		return ""
	case s.binary.Family == regress.LogisticFamily:
		return "odds_ratio"
	}
	return "prevalence_ratio"
}

// dropRows drops what the fit holds of single rows.
func (s *solution) dropRows() {
	switch {
	case s.least != nil:
		s.least.DropRows()
	case s.quantile != nil:
		s.quantile.DropRows()
	case s.binary != nil:
		s.binary.DropRows()
	case s.mixed != nil:
		s.mixed.DropRows()
	}
}

// problem is what is to be fitted.
type problem struct {
	model    schema.Model
	design   design
	y        []float64
	weights  []float64 // nil: every row counts the same
	clusters []int     // cluster of each row, for errors by cluster and random intercepts; nil: none
	strata   []int     // of a sampling design
	errors   string    // the errors of the intervals: the declared ones, or cluster where persons repeat
}

// solve fits the model. An error says why it cannot be fitted.
func (p problem) solve() (solution, error) {
	switch p.model.Kind {
	case schema.QuantileModel:
		return p.solveQuantile()
	case schema.LogisticModel, schema.PrevalenceRatio:
		return p.solveBinary()
	case schema.RandomIntercept:
		return p.solveMixed()
	}
	return p.solveLeastSquares()
}

// estimators finds covariances of a fit by the names that the table uses.
type estimators struct {
	plain   func(kind string) (*regress.Covariance, error)
	cluster func(kind string) (*regress.Covariance, error)
	design  func() (*regress.Covariance, error)
}

// regressKinds are the names of the covariance estimators of package regress.
func regressKind(name string) string {
	switch name {
	case "hc0", "hc1", "hc2", "hc3":
		return map[string]string{"hc0": regress.HC0, "hc1": regress.HC1, "hc2": regress.HC2, "hc3": regress.HC3}[name]
	case "equal_density":
		return regress.QuantileIID
	case schema.LocalDensity:
		return regress.QuantileNID
	case "kernel_density":
		return regress.QuantileKernel
	}
	return name
}

// estimate computes the errors named in beside and the declared ones, which
// make the intervals. Those beside that cannot be computed are left out.
func (s *solution) estimate(declared string, beside []string, e estimators) error {
	add := func(name string, c *regress.Covariance) { s.all = append(s.all, errorEstimate{name, c}) }
	for _, name := range beside {
		c, err := e.plain(regressKind(name))
		if err == nil {
			add(name, c)
		} else if name == declared {
			return err
		}
	}
	switch declared {
	case schema.ClusterErrors:
		for _, kind := range []string{regress.CR1, regress.CR2} {
			c, err := e.cluster(kind)
			if err != nil {
				return err
			}
			add(map[string]string{regress.CR1: "cluster_cr1", regress.CR2: clusterCR2}[kind], c)
		}
		declared = clusterCR2
	case schema.DesignErrors:
		c, err := e.design()
		if err != nil {
			return err
		}
		add(declared, c)
	default:
		if !slices.Contains(beside, declared) {
			c, err := e.plain(regressKind(declared))
			if err != nil {
				return err
			}
			add(declared, c)
		}
	}
	s.main = s.all[slices.IndexFunc(s.all, func(o errorEstimate) bool { return o.name == declared })]
	return nil
}

// clusterCR2 is the name of the errors by cluster that make intervals.
const clusterCR2 = "cluster_cr2"

func (p problem) solveLeastSquares() (solution, error) {
	fit, err := regress.OLS(p.design.matrix, p.y, p.weights)
	if err != nil {
		return solution{}, err
	}
	s := solution{Model: &fit.Model, method: "least_squares", least: fit}
	if p.weights != nil {
		s.method = "weighted least_squares"
	}
	err = s.estimate(p.errors, []string{schema.ClassicalErrors, schema.HC3Errors}, estimators{
		plain:   fit.Covariance,
		cluster: func(kind string) (*regress.Covariance, error) { return fit.ClusterCovariance(kind, p.clusters) },
		design:  func() (*regress.Covariance, error) { return fit.DesignCovariance(p.strata, p.clusters) },
	})
	return s, err
}

func (p problem) solveBinary() (solution, error) {
	fitter, beside := regress.Logistic, []string{schema.ClassicalErrors, schema.HC3Errors}
	if p.model.Kind == schema.PrevalenceRatio {
		fitter, beside = regress.ModifiedPoisson, []string{schema.HC3Errors}
	}
	fit, err := fitter(p.design.matrix, p.y, p.weights)
	if err != nil {
		return solution{}, err
	}
	s := solution{Model: &fit.Model, method: fit.Family, binary: fit}
	err = s.estimate(p.errors, beside, estimators{
		plain: func(kind string) (*regress.Covariance, error) {
			if kind == schema.ClassicalErrors {
				kind = regress.Information
			}
			return fit.Covariance(kind)
		},
		cluster: func(kind string) (*regress.Covariance, error) { return fit.ClusterCovariance(kind, p.clusters) },
		design:  func() (*regress.Covariance, error) { return fit.DesignCovariance(p.strata, p.clusters) },
	})
	return s, err
}

func (p problem) solveQuantile() (solution, error) {
	fit, err := regress.Quantile(p.design.matrix, p.y, nil, p.model.Quantile)
	if err != nil {
		return solution{}, err
	}
	s := solution{Model: &fit.Model, method: fmt.Sprintf("quantile regression at %s", plain(p.model.Quantile)), quantile: fit}
	if p.errors == schema.ClusterErrors {
		c, err := fit.ClusterCovariance(regress.QuantileNID, p.clusters)
		if err != nil {
			return s, err
		}
		s.main = errorEstimate{"cluster_local_density", c}
		s.all = []errorEstimate{s.main}
		return s, nil
	}
	err = s.estimate(p.errors, []string{"equal_density", schema.LocalDensity, "kernel_density"}, estimators{plain: fit.Covariance})
	return s, err
}

func (p problem) solveMixed() (solution, error) {
	fit, err := regress.RandomIntercept(p.design.matrix, p.y, p.clusters)
	if err != nil {
		return solution{}, err
	}
	c, err := fit.Covariance(regress.REML)
	if err != nil {
		return solution{}, err
	}
	s := solution{Model: &fit.Model, method: "random intercept by " + p.model.ClusterColumn() + ", restricted likelihood", mixed: fit}
	s.main = errorEstimate{schema.RestrictedErr, c}
	s.all = []errorEstimate{s.main}
	return s, nil
}
