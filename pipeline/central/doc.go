// Package central works out the aortic pressure wave from the average beat of
// a peripheral artery and measures it. It is pure: samples in, numbers out.
//
// A wave is one period of N equidistant samples; its end joins its start, so
// any rotation of it is the same wave. Pressures are in mmHg, times in seconds
// unless a name says otherwise. A number that a wave does not have is NaN, and
// a note of the form "index:reason" says why.
//
// What is estimated depends on the artery: a radial and a brachial wave go
// through the transfer function of their artery, a carotid and an aortic wave
// through none.
package central
