package adif

import "strings"

// mode is one mode of the Mode enumeration.
type mode struct {
	name string
	// db: a report of one or two digits in this mode is a ratio of signal to noise in dB.
	db bool
	// submodes, separated by commas (some names hold blanks).
	submodes string
}

// modes: ADIF 3.1.6, Mode and Submode enumerations. The reports of FSK441, JT6M and JTMS are two-digit codes for
// length and strength of a burst, not dB.
var modes = [...]mode{
	{name: "AM"}, {name: "ARDOP"}, {name: "ATV"},
	{name: "CHIP", submodes: "CHIP64,CHIP128"},
	{name: "CLO"}, {name: "CONTESTI"},
	{name: "CW", submodes: "PCW"},
	{name: "DIGITALVOICE", submodes: "C4FM,DMR,DSTAR,FREEDV,M17"},
	{name: "DOMINO", submodes: "DOM-M,DOM4,DOM5,DOM8,DOM11,DOM16,DOM22,DOM44,DOM88,DOMINOEX,DOMINOF"},
	{name: "DYNAMIC", submodes: "FREEDATA,VARA HF,VARA SATELLITE,VARA FM 1200,VARA FM 9600"},
	{name: "FAX"}, {name: "FM"},
	{name: "FSK", submodes: "SCAMP_FAST,SCAMP_SLOW,SCAMP_VSLOW"},
	{name: "FSK441"},
	{name: "FT8", db: true},
	{name: "HELL", submodes: "FMHELL,FSKH105,FSKH245,FSKHELL,HELL80,HELLX5,HELLX9,HFSK,PSKHELL,SLOWHELL"},
	{name: "ISCAT", db: true, submodes: "ISCAT-A,ISCAT-B"},
	{name: "JT4", db: true, submodes: "JT4A,JT4B,JT4C,JT4D,JT4E,JT4F,JT4G"},
	{name: "JT6M"},
	{name: "JT9", db: true, submodes: "JT9-1,JT9-2,JT9-5,JT9-10,JT9-30,JT9A,JT9B,JT9C,JT9D,JT9E,JT9E FAST,JT9F,JT9F FAST,JT9G,JT9G FAST,JT9H,JT9H FAST"},
	{name: "JT44", db: true},
	{name: "JT65", db: true, submodes: "JT65A,JT65B,JT65B2,JT65C,JT65C2"},
	{name: "MFSK", db: true, submodes: "FSQCALL,FST4,FST4W,FT4,JS8,JTMS,MFSK4,MFSK8,MFSK11,MFSK16,MFSK22,MFSK31,MFSK32,MFSK64,MFSK64L,MFSK128,MFSK128L,Q65"},
	{name: "MSK144", db: true}, {name: "MT63"},
	{name: "MTONE", submodes: "SCAMP_OO,SCAMP_OO_SLW"},
	{name: "OFDM", submodes: "RIBBIT_PIX,RIBBIT_SMS"},
	{name: "OLIVIA", submodes: "OLIVIA 4/125,OLIVIA 4/250,OLIVIA 8/250,OLIVIA 8/500,OLIVIA 16/500,OLIVIA 16/1000,OLIVIA 32/1000"},
	{name: "OPERA", db: true, submodes: "OPERA-BEACON,OPERA-QSO"},
	{name: "PAC", submodes: "PAC2,PAC3,PAC4"},
	{name: "PAX", submodes: "PAX2"},
	{name: "PKT"},
	{name: "PSK", submodes: "8PSK125,8PSK125F,8PSK125FL,8PSK250,8PSK250F,8PSK250FL,8PSK500,8PSK500F,8PSK1000,8PSK1000F,8PSK1200F," +
		"FSK31,PSK10,PSK31,PSK63,PSK63F,PSK63RC4,PSK63RC5,PSK63RC10,PSK63RC20,PSK63RC32,PSK125,PSK125C12,PSK125R,PSK125RC10,PSK125RC12," +
		"PSK125RC16,PSK125RC4,PSK125RC5,PSK250,PSK250C6,PSK250R,PSK250RC2,PSK250RC3,PSK250RC5,PSK250RC6,PSK250RC7,PSK500,PSK500C2," +
		"PSK500C4,PSK500R,PSK500RC2,PSK500RC3,PSK500RC4,PSK800C2,PSK800RC2,PSK1000,PSK1000C2,PSK1000R,PSK1000RC2," +
		"PSKAM10,PSKAM31,PSKAM50,PSKFEC31,QPSK31,QPSK63,QPSK125,QPSK250,QPSK500,SIM31"},
	{name: "QRA64", db: true, submodes: "QRA64A,QRA64B,QRA64C,QRA64D,QRA64E"},
	{name: "ROS", db: true, submodes: "ROS-EME,ROS-HF,ROS-MF"},
	{name: "RTTY", submodes: "ASCI"},
	{name: "RTTYM"},
	{name: "SSB", submodes: "LSB,USB"},
	{name: "SSTV"},
	{name: "T10", db: true},
	{name: "THOR", submodes: "THOR-M,THOR4,THOR5,THOR8,THOR11,THOR16,THOR22,THOR25X4,THOR50X1,THOR50X2,THOR100"},
	{name: "THRB", submodes: "THRBX,THRBX1,THRBX2,THRBX4,THROB1,THROB2,THROB4"},
	{name: "TOR", submodes: "AMTORFEC,GTOR,NAVTEX,SITORB"},
	{name: "V4", db: true},
	{name: "VOI"}, {name: "WINMOR"},
	{name: "WSPR", db: true},
}

// importOnly lists the modes of old files that are now submodes. ADIF 3.1.6, Mode enumeration, import-only entries.
const importOnly = "AMTORFEC,ASCI,C4FM,CHIP64,CHIP128,DOMINOF,DSTAR,FMHELL,FSK31,GTOR,HELL80,HFSK,JT4A,JT4B,JT4C,JT4D,JT4E,JT4F,JT4G," +
	"JT65A,JT65B,JT65C,MFSK8,MFSK16,PAC2,PAC3,PAX2,PCW,PSK10,PSK31,PSK63,PSK63F,PSK125,PSKAM10,PSKAM31,PSKAM50,PSKFEC31,PSKHELL," +
	"QPSK31,QPSK63,QPSK125,THRBX"

// notDB lists the submodes of modes with reports in dB whose own reports are of another kind.
const notDB = "FSQCALL,JTMS,MFSK4,MFSK8,MFSK11,MFSK16,MFSK22,MFSK31,MFSK32,MFSK64,MFSK64L,MFSK128,MFSK128L"

// submode is what is known of a submode: the mode it belongs to, and whether old files write it as a mode.
type submode struct {
	name       string
	parent     *mode
	importOnly bool
	db         bool
}

// modeTable and submodeTable find entries by name in capitals. They are never changed.
var modeTable, submodeTable = makeModeTables()

func makeModeTables() (map[string]*mode, map[string]*submode) {
	byMode, bySubmode := make(map[string]*mode), make(map[string]*submode)
	for i := range modes {
		m := &modes[i]
		byMode[m.name] = m
		if m.submodes == "" {
			continue
		}
		for _, name := range strings.Split(m.submodes, ",") {
			bySubmode[name] = &submode{name: name, parent: m, db: m.db}
		}
	}
	for _, name := range strings.Split(importOnly, ",") {
		bySubmode[name].importOnly = true
	}
	for _, name := range strings.Split(notDB, ",") {
		bySubmode[name].db = false
	}
	return byMode, bySubmode
}
