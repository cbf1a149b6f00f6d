// Package disclose holds statistical disclosure control for tables of counts
// and of statistics that rest on counts. It knows nothing of where a table came
// from: it takes plain values and says what must not be published.
//
// Three things are here. Rules judge one number alone: how many people it rests
// on, whether one of them dominates it. Protect chooses what else must be hidden
// so that no number the rules took away can be worked out again from those that
// remain (complementary suppression), and gives for each a witness, which Check
// verifies. Step and To make numbers coarse.
//
// The model of an attacker: he has everything that is published, knows the rules
// and the size of the smallest cell, knows which groups of people contain which
// others, and that counts are whole numbers from zero up. He may learn that a
// hidden count is small. He must not be able to place it in an interval narrower
// than the protection asked for.
//
// Sources. Threshold of 10 with zero counting as small, mean, median and SD on
// 10 people or more, complementary suppression in rows and columns: UK LLC
// guidebook (2025). Threshold 10, ten degrees of freedom, dominance (2, 90 %),
// p % of 10: the defaults of the ACRO output checker. No difference below 10
// between tables, no minimum or maximum: ABS DataLab. That coefficients of a model
// with enough residual degrees of freedom, and no table of means in disguise, may
// be shown as they are: Brandt and others, Guidelines for the checking of output
// based on microdata research (ESSnet SDC 2010), and Welpton, Handbook on
// Statistical Disclosure Control for Outputs (2019); both from memory. The search over
// rectangles and their counterparts in more dimensions follows the idea of the
// hypercube method (Repsilber 1994; from memory).
package disclose
