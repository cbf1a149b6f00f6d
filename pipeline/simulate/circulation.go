package simulate

import "math"

// circulation is the arterial tree of one person at one visit: a heart that
// ejects a given flow into a uniform lossless tube (the aorta) which ends in a
// three-element windkessel, and from the root a second tube (the arm) which
// ends in another. Everything is linear, so that pressure is the spectrum of
// the flow times an impedance. Reflection at the end of a tube is
// (load − Zc)/(load + Zc), the relations of a lossless line as in Zhou 2019,
// BioMed Eng OnLine 18:41.
type circulation struct {
	heartRateBPM float64
	strokeML     float64
	flow         flow

	// Aorta.
	impedance      float64 // characteristic impedance, mmHg·s/mL
	travelS        float64 // one way, from the root to the effective site of reflection
	terminal       float64 // reflection coefficient at high frequency
	diffuseS       float64 // time constant over which the many sites of reflection spread
	stretchS       float64 // compliance of the windkessel × impedance
	resistance     float64 // of the windkessel, mmHg·s/mL
	outflowMMHg    float64 // pressure behind the resistance
	stiffnessMPerS float64 // aortic pulse wave velocity

	// Arm: reflection at its end is 1/(1 + armB + jω·armA).
	armTravelS   float64
	armA         float64 // s
	armB         float64
	cuffPosition float64 // of the way from the root to the wrist
}

// outflow is where arterial flow ceases: Parazynski 1993, as used by Charlton
// 2019, AJP Heart 317:H1062-85.
const outflow = 33.2

// flow is the shape of one ejection.
type flow struct {
	peakMLPerS float64
	ejectionS  float64
	warp       float64 // moves the peak of the half sine to its time
	exponent   float64 // below 1 blunts the half sine
}

// The flow runs back for a moment when the valve closes: a bell of this depth
// relative to the peak, this long after the end of ejection, this wide. At a
// peak of 350 mL/s it carries 0.7 mL (published: 0.73 ± 0.63 mL, as used by
// Charlton 2019).
const (
	backflowDepth  = 0.07
	backflowDelayS = 0.008
	backflowWidthS = 0.011
)

// newFlow returns an ejection of the given volume.
func newFlow(strokeML, ejectionS, peakTimeS, exponent float64) flow {
	f := flow{peakMLPerS: 1, ejectionS: ejectionS, exponent: exponent,
		warp: math.Log(0.5) / math.Log(peakTimeS/ejectionS)}
	const steps = 512
	area := 0.0
	for i := range steps {
		area += f.ejected((float64(i) + 0.5) / steps)
	}
	area = area/steps*ejectionS - backflowDepth*backflowWidthS*math.Sqrt(2*math.Pi)
	f.peakMLPerS = strokeML / area
	return f
}

// ejected is the forward flow at a fraction of the ejection time, over its peak.
func (f flow) ejected(fraction float64) float64 {
	return math.Pow(math.Sin(math.Pi*math.Pow(fraction, f.warp)), f.exponent)
}

// at is the flow in mL/s at a time after the start of ejection.
func (f flow) at(t float64) float64 {
	q := 0.0
	if t > 0 && t < f.ejectionS {
		q = f.ejected(t / f.ejectionS)
	}
	z := (t - f.ejectionS - backflowDelayS) / backflowWidthS
	return f.peakMLPerS * (q - backflowDepth*math.Exp(-z*z/2))
}

// endS is the time after which there is no flow.
func (f flow) endS() float64 { return f.ejectionS + backflowDelayS + 5*backflowWidthS }

// highestHz is where rolloff has come down to a 0.0002th.
const highestHz = 60

// rolloff damps what lies above the band of arterial pressure, so that every
// sampling rate from 100 Hz sees the same wave.
func rolloff(hz float64) float64 {
	x := hz / 35
	return math.Exp(-x * x * x * x)
}

// site holds pressure over flow at three places, mmHg·s/mL, and the forward
// part of that at the root.
type site struct{ aortic, brachial, radial, forward complex128 }

// at returns the impedances at a frequency.
func (c *circulation) at(hz float64) site {
	w := 2 * math.Pi * hz
	proximal := c.impedance * (1 + c.terminal) / (1 - c.terminal)
	compliance := c.stretchS / c.impedance
	load := complex(proximal, 0) + complex(c.resistance, 0)/complex(1, w*c.resistance*compliance)
	zc := complex(c.impedance, 0)
	back := (load - zc) / (load + zc) * delay(w, 2*c.travelS) / complex(1, w*c.diffuseS)
	forward := zc / (1 - back)
	aortic := forward * (1 + back)
	brachial, radial := c.arm(w)
	return site{aortic: aortic, brachial: aortic * brachial, radial: aortic * radial, forward: forward}
}

// arm returns the pressure under the cuff and at the wrist over that at the root.
func (c *circulation) arm(w float64) (brachial, radial complex128) {
	end := 1 / complex(1+c.armB, w*c.armA)
	out := delay(w, c.armTravelS)
	cuff := delay(w, c.cuffPosition*c.armTravelS)
	round := out * out
	root := 1 + end*round
	return (cuff + end*round*complex(real(cuff), -imag(cuff))) / root, out * (1 + end) / root
}

func delay(w, seconds float64) complex128 {
	sin, cos := math.Sincos(w * seconds)
	return complex(cos, -sin)
}

// armPeak returns frequency and height of the first peak of the transfer
// function from the root to the wrist, to 0.02 Hz.
func (c *circulation) armPeak() (hz, gain float64) {
	for f := 1.5; f <= 8; f += 0.02 {
		_, radial := c.arm(2 * math.Pi * f)
		if g := math.Hypot(real(radial), imag(radial)); g > gain {
			hz, gain = f, g
		}
	}
	return hz, gain
}

// totalComplianceML is that of windkessel and aorta together, mL/mmHg.
func (c *circulation) totalComplianceML() float64 { return (c.stretchS + c.travelS) / c.impedance }
