package pooling

// Document is pooled.json. A number that does not exist is null; sizes are in the unit of their claim, rounded to 4 decimals, p values to 6, ends of
// intervals outward to 0.01, and verdicts rest on the rounded ends.
type Document struct {
	Format int    `json:"format"`
	Tool   string `json:"tool"`
	// Studies are all bundles, by label.
	Studies []StudyEntry `json:"studies"`
	Claims  []ClaimEntry `json:"claims"`
	// Alone are the questions that only one bundle asks; none if there is only one bundle, whose own verdicts then stand in Claims.
	Alone    []AloneEntry `json:"asked_once"`
	Warnings []Warning    `json:"warnings"`
}

// StudyEntry is one bundle.
type StudyEntry struct {
	// Label tells it from the others: name and square, with the begin of the identity where that is not enough.
	Label            string  `json:"label"`
	Name             string  `json:"name"`
	Identity         string  `json:"identity"`
	Title            string  `json:"title"`
	Operator         string  `json:"operator"`
	Square           string  `json:"square"`
	Seal             *string `json:"seal"`
	SealedBeforeData bool    `json:"sealed_before_data"`
	Looks            int     `json:"looks"`
	Origin           *Origin `json:"origin"`
}

// ClaimEntry is one question.
type ClaimEntry struct {
	Claim     string      `json:"claim"`
	Kind      string      `json:"kind"`
	Band      string      `json:"band"`
	Arms      []string    `json:"arms"`
	Direction *string     `json:"direction"`
	Shape     *string     `json:"shape"`
	WithinKm  *[2]float64 `json:"within_km"`
	StepDB    *float64    `json:"step_db"`
	Unit      string      `json:"unit"`
	Smallest  float64     `json:"smallest_difference"`

	Verdict    string  `json:"verdict"`
	Reach      *string `json:"reach"`
	Reason     string  `json:"reason"`
	ReasonCode string  `json:"reason_code"`

	Operators   int `json:"operators"`   // independent studies that enter
	Experiments int `json:"experiments"` // bundles that enter

	Summary
	PAdjusted  *float64 `json:"p_adjusted"`
	FamilySize *int     `json:"family_size"`

	Heterogeneity *Heterogeneity `json:"heterogeneity"`
	Moments       *Moments       `json:"dersimonian_laird"`
	Directivity   *Directivity   `json:"directivity"`

	Studies     []PartEntry    `json:"studies"`
	LeftOut     []LeftOutEntry `json:"left_out"`
	Counts      []Count        `json:"counts"`
	WithoutOne  []OtherEntry   `json:"leave_one_out"`
	Sensitivity []OtherEntry   `json:"sensitivity"`
	Warnings    []Warning      `json:"warnings"`
}

// Summary is a pooled size: of a directivity claim the amplitude of its stronger harmonic, whose one interval is guarded.
type Summary struct {
	Estimate *float64 `json:"estimate"`
	// Interval is that of Knapp and Hartung, Guarded that with a factor never below 1.
	Interval   *[2]float64 `json:"interval"`
	Guarded    *[2]float64 `json:"guarded_interval"`
	Prediction *[2]float64 `json:"prediction_interval"` // for the next operator; from 3 operators on
	P          *float64    `json:"p"`                   // guarded: the verdict rests on it
	PPlain     *float64    `json:"p_knapp_hartung"`
}

// Heterogeneity is how much the places differ.
type Heterogeneity struct {
	Tau   float64     `json:"tau"`          // standard deviation between places
	TauIn *[2]float64 `json:"tau_interval"` // by the Q profile; null for a directivity claim
	Tau2  float64     `json:"tau2"`
	I2    *float64    `json:"i2_percent"`
	H2    *float64    `json:"h2"`
	Q     float64     `json:"q"`
	QDF   int         `json:"q_df"`
	QP    *float64    `json:"q_p"`
}

// Moments is the same pool with tau^2 by DerSimonian and Laird.
type Moments struct {
	Estimate float64    `json:"estimate"`
	Interval [2]float64 `json:"interval"` // Knapp and Hartung
	Guarded  [2]float64 `json:"guarded_interval"`
	Tau2     float64    `json:"tau2"`
}

// Directivity is what a directivity claim adds.
type Directivity struct {
	Frame       string            `json:"frame"` // "north" or "wire"
	Lobes       []LobeEntry       `json:"lobes"`
	FrontToBack *FrontToBackEntry `json:"front_to_back"`
}

// LobeEntry is a harmonic, of one study or pooled. Angles are clockwise from north, or from the way in which the wire runs.
type LobeEntry struct {
	Harmonic    int         `json:"harmonic"`
	CosDB       float64     `json:"cos_db"`
	SinDB       float64     `json:"sin_db"`
	AmplitudeDB float64     `json:"amplitude_db"`
	AmplitudeIn [2]float64  `json:"amplitude_interval_db"` // with the direction's, by projection of one region
	TowardDeg   *float64    `json:"toward_deg"`            // null where the region holds the origin, or nearly
	TowardIn    *[2]float64 `json:"toward_interval_deg"`
	P           *float64    `json:"p"`      // null for one study
	Factor      *float64    `json:"factor"` // what the covariance was multiplied by, never below 1; null for one study
}

// FrontToBackEntry is the pooled front-to-back difference, along the axis that each operator named.
type FrontToBackEntry struct {
	Operators int `json:"operators"`
	Summary
	Tau float64 `json:"tau"`
}

// PartEntry is one operator.
type PartEntry struct {
	Label    string      `json:"label"`
	Operator string      `json:"operator"`
	Estimate float64     `json:"estimate"`
	Interval [2]float64  `json:"interval"` // the study's own; of several experiments t's, with the fewest degrees of freedom
	SE       *float64    `json:"standard_error"`
	Weight   float64     `json:"weight_percent"`
	Blocks   int         `json:"blocks"`
	Stations int         `json:"stations"`
	Verdict  *string     `json:"verdict"` // null of several experiments
	Lobes    []LobeEntry `json:"lobes"`
	// Parts are the experiments of an operator that has several here.
	Parts []PartEntry `json:"parts"`
}

// LeftOutEntry is a bundle that asks the question and does not enter.
type LeftOutEntry struct {
	Label   string `json:"label"`
	Verdict string `json:"verdict"`
	Reason  string `json:"reason"`
}

// Count tells how many bundles came to a verdict.
type Count struct {
	Verdict string `json:"verdict"`
	N       int    `json:"n"`
}

// OtherEntry is the pool of a part of the studies.
type OtherEntry struct {
	What      string `json:"what"`
	Operators int    `json:"operators"`
	Summary
	Verdict string `json:"verdict"`
}

// AloneEntry is a question that one bundle alone asks, with its own verdict.
type AloneEntry struct {
	Label   string `json:"label"`
	Claim   string `json:"claim"`
	Kind    string `json:"kind"`
	Band    string `json:"band"`
	Verdict string `json:"verdict"`
	Reason  string `json:"reason"`
}

// Warning is a doubt.
type Warning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}
