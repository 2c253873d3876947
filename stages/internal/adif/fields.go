package adif

// fieldID numbers the fields that a spot can rest on; all others are fieldOther.
type fieldID int

const (
	fieldOther fieldID = iota
	fieldCall
	fieldDate
	fieldTime
	fieldBand
	fieldBandRx
	fieldFreq
	fieldFreqRx
	fieldMode
	fieldSubmode
	fieldRSTSent
	fieldRSTRcvd
	fieldStation
	fieldOperator
	fieldGrid
	fieldGridExt
	fieldMyGrid
	fieldMyGridExt
	fieldTxPower
	fieldRxPower
	fieldSWL
	fieldAzimuth
	fieldElevation
	numFields
)

// fieldNames: ADIF 3.1.6, QSO fields.
var fieldNames = [numFields]string{
	"", "CALL", "QSO_DATE", "TIME_ON", "BAND", "BAND_RX", "FREQ", "FREQ_RX", "MODE", "SUBMODE", "RST_SENT", "RST_RCVD",
	"STATION_CALLSIGN", "OPERATOR", "GRIDSQUARE", "GRIDSQUARE_EXT", "MY_GRIDSQUARE", "MY_GRIDSQUARE_EXT", "TX_PWR", "RX_PWR", "SWL",
	"ANT_AZ", "ANT_EL",
}

// String gives the field's name in capitals.
func (f fieldID) String() string { return fieldNames[f] }

// isKey tells whether text straight after the field's data refuses the record: the length is wrong then, and the
// record's identity or report with it.
func (f fieldID) isKey() bool {
	switch f {
	case fieldCall, fieldDate, fieldTime, fieldBand, fieldFreq, fieldMode, fieldSubmode, fieldRSTSent, fieldRSTRcvd, fieldStation,
		fieldOperator:
		return true
	}
	return false
}

// fieldOf finds the number of a field by its name in any case.
func fieldOf(name []byte) fieldID {
	var buf [len("MY_GRIDSQUARE_EXT")]byte
	if len(name) > len(buf) {
		return fieldOther
	}
	switch string(upper(buf[:], name)) {
	case "CALL":
		return fieldCall
	case "QSO_DATE":
		return fieldDate
	case "TIME_ON":
		return fieldTime
	case "BAND":
		return fieldBand
	case "BAND_RX":
		return fieldBandRx
	case "FREQ":
		return fieldFreq
	case "FREQ_RX":
		return fieldFreqRx
	case "MODE":
		return fieldMode
	case "SUBMODE":
		return fieldSubmode
	case "RST_SENT":
		return fieldRSTSent
	case "RST_RCVD":
		return fieldRSTRcvd
	case "STATION_CALLSIGN":
		return fieldStation
	case "OPERATOR":
		return fieldOperator
	case "GRIDSQUARE":
		return fieldGrid
	case "GRIDSQUARE_EXT":
		return fieldGridExt
	case "MY_GRIDSQUARE":
		return fieldMyGrid
	case "MY_GRIDSQUARE_EXT":
		return fieldMyGridExt
	case "TX_PWR":
		return fieldTxPower
	case "RX_PWR":
		return fieldRxPower
	case "SWL":
		return fieldSWL
	case "ANT_AZ":
		return fieldAzimuth
	case "ANT_EL":
		return fieldElevation
	}
	return fieldOther
}
