package world

import "time"

// Class is what is known of a mode by the length of its slot.
type Class struct {
	Slot, OnAir time.Duration
	ThresholdDB float64 // decoded half the time, steady signal, SNR in 2500 Hz
}

// Params are the numbers of the sky and of the listeners. Standard deviations are those of one process; a time is where
// its correlation falls to 1/e. Where a comment says "assumed" there is no published figure, and the number is there to
// be varied.
type Params struct {
	// Land tells whether a place is land, degrees. nil: the coast of package coast, loaded for every Run; whoever runs
	// many trials loads it once and hands its OnLand here.
	Land func(latitudeDeg, longitudeDeg float64) bool

	// Path.

	// SpreadLowHz to SpreadHighHz is the Doppler spread (two sigma) of a path, drawn uniformly in its logarithm: Rayleigh
	// fading, averaged over a transmission (see FadingSD). 0.1 to 0.5 Hz: SD 3.0 to 1.3 dB with 15-s slots, 1.0 to 0.4
	// with 120 s. Recommendation ITU-R F.1487, mid latitudes; 0.02 to 1 Hz are met with. Both zero: no such fading.
	SpreadLowHz, SpreadHighHz float64
	// Slow is focusing, polarisation, absorption patches, dB, each receiver for itself. Rifkin and Perry, Fade
	// measurements on the wide bandwidth HF channel, Radio Science (doi 10.1029/94RS00834): SD 2 to 3 dB, 37 to 57 s.
	SlowSD   float64
	SlowTime time.Duration
	// Drift is travelling disturbances, dB; assumed (periods of minutes are published, sizes are not). DriftShared is
	// the correlation between two receivers of one 30-degree sector.
	DriftSD     float64
	DriftTime   time.Duration
	DriftShared float64
	// TrendDBPerHour is added to the bands' own trend: band opening (+) or closing (-), up to 6; assumed.
	TrendDBPerHour float64
	// DaySD is the change of the median from session to session, dB, by band; DayShared is the correlation between two
	// receivers. Recommendation ITU-R P.842: deciles about 8 dB, so SD 6; share assumed.
	DaySD, DayShared float64
	// OpeningLobeDB is by how much a band is better in the direction in which it opens, and worse in the opposite one;
	// assumed.
	OpeningLobeDB float64
	// PathDB is added to every median.
	PathDB float64

	// Receivers.

	// SiteSD is that of the sites' fixed noise and antenna, dB. Recommendation ITU-R P.372: location deciles 5.8 to
	// 8.4 dB, so 4.5 to 6.6; 8 with antennas.
	SiteSD float64
	// NoiseSD is the noise from slot to slot, dB; in BurstShare of the slots BurstLowDB to BurstHighDB are added. Each
	// receiver for itself, the own station too (there, all signals of the slot alike). Assumed.
	NoiseSD                             float64
	BurstShare, BurstLowDB, BurstHighDB float64
	// A site's noise steps to another level StepsPerHour times an hour on average, SD StepSD about its fixed one, dB;
	// assumed.
	StepsPerHour, StepSD float64
	// ErrorSD is that of the decoder's report, dB, before it is rounded to 1 dB; assumed 0.5 to 1.5.
	ErrorSD float64
	// Classes gives on-air times and thresholds by slot.
	Classes []Class
	// SoftDB is how far it is from 10 to 90 % decodes, logistic in between; common practice 2 to 3, steady signal.
	SoftDB float64
	// CompressAboveDB is where reports begin to lag: from there on they rise by CompressSlope dB a dB. No report is
	// above CapDB. Assumed.
	CompressAboveDB, CompressSlope, CapDB float64

	// Arms. Whatever of these is not zero makes the truth differ from that of Band.Arms.

	// ReceiverSD and RegionSD are how the difference of two arms differs from receiver to receiver, and from region to
	// region (30 degrees by distance class: to 1200, to 2700 km, beyond), dB, the same in all sessions. Assumed: 1.5 for
	// alike antennas, 3 for other polarisation or height.
	ReceiverSD, RegionSD float64
	// SetupSD is that of an arm's gain from session to session (put up anew each time), dB, at all receivers alike;
	// assumed 0.5 to 2.
	SetupSD float64
	// PowerDB is each arm's transmit power, dB, sent only; nil: the same. PowerSD is that of the difference between two
	// arms, drawn for each session; 0.3 if not checked.
	PowerDB map[string]float64
	PowerSD float64

	// Reporting.

	// ReportEvery is the interval in which a receiver passes on one report of one transmitter on one band, common
	// practice 5 min, up to 20; ThinnedShare of the receivers do so, the others pass on every decode.
	ReportEvery  time.Duration
	ThinnedShare float64
	// LastShare and BestShare of the thinned receivers pass on the interval's last and best decode, the others the
	// first; assumed.
	LastShare, BestShare float64

	// Activity, assumed.

	// SteadyShare of the stations are there for SteadyListens of the time, the others for a share between ListensLow and
	// ListensHigh; every StretchTime on average each decides anew, in no relation to the arms.
	SteadyShare, SteadyListens float64
	ListensLow, ListensHigh    float64
	StretchTime                time.Duration
	// AllBandsShare of the stations are active on all bands, the others on one.
	AllBandsShare float64
	// SendersShare of the stations send as well: in SendShare of every other slot (even ones or odd ones, drawn once; of
	// all slots with 120 s, which is one-way), and hear nothing meanwhile.
	SendersShare, SendShare float64
	// LoggedShare is the share of the even slots in which the own station sends if Trial.Sends is "as logged".
	LoggedShare float64

	// Stations, assumed.

	Stations              int
	NearestKm, FarthestKm float64 // all lie between
	SouthDeg, NorthDeg    float64 // latitudes between which people live
	// Clusters are ClusterKm in radius at most (never over 0.3 of their distance), of unequal weight; ScatteredShare of
	// the stations live elsewhere.
	Clusters       int
	ClusterKm      float64
	ScatteredShare float64
	// CrowdShare of the stations live in one sector of CrowdDeg, on top of clustering.
	CrowdShare, CrowdDeg float64
	// PlacelessShare tell no locator, CoarseShare four characters of it; PortableShare add /P to their call.
	PlacelessShare, CoarseShare, PortableShare float64
	OffsetSD                                   float64 // error of the stations' frequency scale, Hz

	// The other direction and other transmitters, assumed.

	// TheirPowerDB is the stations' mean power against the own station's, TheirPowerSD its spread; OwnNoiseDB is the
	// own site's noise against an average one.
	TheirPowerDB, TheirPowerSD, OwnNoiseDB float64
	// BackgroundShare is the share of slots in which a listening receiver tries another transmitter that sends; 0: no
	// background.
	BackgroundShare float64
}

// Default gives the middle of each range. The truth is then that of Band.Arms, at every receiver.
func Default() Params {
	return Params{
		SpreadLowHz: 0.1, SpreadHighHz: 0.5,
		SlowSD: 2.5, SlowTime: 45 * time.Second,
		DriftSD: 2, DriftTime: 10 * time.Minute, DriftShared: 0.5,
		DaySD: 6, DayShared: 0.5,
		SiteSD:  6,
		NoiseSD: 1, BurstShare: 0.03, BurstLowDB: 6, BurstHighDB: 15,
		StepSD:  4,
		ErrorSD: 1,
		Classes: classes(), SoftDB: 2.5,
		CompressAboveDB: 5, CompressSlope: 0.5, CapDB: 30,
		ReportEvery: 5 * time.Minute, ThinnedShare: 1, LastShare: 0.2, BestShare: 0.2,
		SteadyShare: 0.5, SteadyListens: 0.97, ListensLow: 0.25, ListensHigh: 0.85, StretchTime: 30 * time.Minute,
		AllBandsShare: 0.67, SendersShare: 0.5, SendShare: 0.4, LoggedShare: 0.7,
		Stations: 60, NearestKm: 400, FarthestKm: 4000, SouthDeg: -56, NorthDeg: 71,
		Clusters: 16, ClusterKm: 150, ScatteredShare: 0.1, CrowdDeg: 60,
		PlacelessShare: 0.03, CoarseShare: 0.14, PortableShare: 0.03, OffsetSD: 8,
		TheirPowerDB: 8, TheirPowerSD: 5,
		BackgroundShare: 0.15,
	}
}

// classes are the figures of common fixed-slot modes: Franke, Somerville and Taylor, QEX July/August 2020, for 7.5 and
// 15 s; common practice for the others.
func classes() []Class {
	const s = time.Second
	return []Class{
		{7500 * time.Millisecond, 4500 * time.Millisecond, -17.5},
		{15 * s, 12640 * time.Millisecond, -21},
		{30 * s, 26 * s, -24},
		{60 * s, 48 * s, -24},
		{120 * s, 110600 * time.Millisecond, -28},
		{300 * s, 280 * s, -36},
		{900 * s, 860 * s, -42},
		{1800 * s, 1740 * s, -45},
	}
}
