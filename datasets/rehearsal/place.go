package rehearsal

// centre gives the middle of a locator's square, degrees: IARU Region 1, Tampa 1980, and its usual extension to pairs of
// digits and letters by turns. The locator must be a right one.
func centre(locator string) (latitudeDeg, longitudeDeg float64) {
	width, height := 360.0, 180.0
	longitudeDeg, latitudeDeg = -180, -90
	for i := 0; i+1 < len(locator); i += 2 {
		first, parts := byte('0'), 10.0
		switch {
		case i == 0:
			first, parts = 'A', 18
		case i%4 == 0:
			first, parts = 'a', 24
		}
		width, height = width/parts, height/parts
		longitudeDeg += float64(width * float64(locator[i]-first))
		latitudeDeg += float64(height * float64(locator[i+1]-first))
	}
	return latitudeDeg + height/2, longitudeDeg + width/2
}
