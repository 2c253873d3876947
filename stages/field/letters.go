package field

import "strings"

// letters are five rows of five for each letter and figure, row by row, with a mark for each dot that is set.
var letters = map[rune][5]string{
	'A': {" ### ", "#   #", "#####", "#   #", "#   #"},
	'B': {"#### ", "#   #", "#### ", "#   #", "#### "},
	'C': {" ####", "#    ", "#    ", "#    ", " ####"},
	'D': {"#### ", "#   #", "#   #", "#   #", "#### "},
	'E': {"#####", "#    ", "###  ", "#    ", "#####"},
	'F': {"#####", "#    ", "###  ", "#    ", "#    "},
	'G': {" ####", "#    ", "#  ##", "#   #", " ####"},
	'H': {"#   #", "#   #", "#####", "#   #", "#   #"},
	'I': {" ### ", "  #  ", "  #  ", "  #  ", " ### "},
	'J': {"  ###", "   # ", "   # ", "#  # ", " ##  "},
	'K': {"#   #", "#  # ", "###  ", "#  # ", "#   #"},
	'L': {"#    ", "#    ", "#    ", "#    ", "#####"},
	'M': {"#   #", "## ##", "# # #", "#   #", "#   #"},
	'N': {"#   #", "##  #", "# # #", "#  ##", "#   #"},
	'O': {" ### ", "#   #", "#   #", "#   #", " ### "},
	'P': {"#### ", "#   #", "#### ", "#    ", "#    "},
	'Q': {" ### ", "#   #", "# # #", "#  # ", " ## #"},
	'R': {"#### ", "#   #", "#### ", "#  # ", "#   #"},
	'S': {" ####", "#    ", " ### ", "    #", "#### "},
	'T': {"#####", "  #  ", "  #  ", "  #  ", "  #  "},
	'U': {"#   #", "#   #", "#   #", "#   #", " ### "},
	'V': {"#   #", "#   #", "#   #", " # # ", "  #  "},
	'W': {"#   #", "#   #", "# # #", "## ##", "#   #"},
	'X': {"#   #", " # # ", "  #  ", " # # ", "#   #"},
	'Y': {"#   #", " # # ", "  #  ", "  #  ", "  #  "},
	'Z': {"#####", "   # ", "  #  ", " #   ", "#####"},
	'0': {" ### ", "#  ##", "# # #", "##  #", " ### "},
	'1': {"  #  ", " ##  ", "  #  ", "  #  ", " ### "},
	'2': {"#### ", "    #", " ### ", "#    ", "#####"},
	'3': {"#### ", "    #", " ### ", "    #", "#### "},
	'4': {"#  # ", "#  # ", "#####", "   # ", "   # "},
	'5': {"#####", "#    ", "#### ", "    #", "#### "},
	'6': {" ### ", "#    ", "#### ", "#   #", " ### "},
	'7': {"#####", "   # ", "  #  ", " #   ", " #   "},
	'8': {" ### ", "#   #", " ### ", "#   #", " ### "},
	'9': {" ### ", "#   #", " ####", "    #", " ### "},
	'-': {"     ", "     ", "#####", "     ", "     "},
	'_': {"     ", "     ", "     ", "     ", "#####"},
	' ': {"     ", "     ", "     ", "     ", "     "},
}

// big writes a name in large letters, and in plain ones below, so that nobody has to guess; a name that has no
// room, or a letter that is not known, is spaced out or stands as it is.
func big(name string, width int) []string {
	shown := strings.ToUpper(name)
	n := len([]rune(shown))
	rows := make([]string, 5)
	for _, r := range shown {
		dots, known := letters[r]
		if !known || 6*n-1 > width {
			return spaced(name, width)
		}
		for i := range rows {
			rows[i] += " " + dots[i]
		}
	}
	for i := range rows {
		rows[i] = strings.TrimRight(rows[i][1:], " ")
	}
	return append(rows, "", name)
}

func spaced(name string, width int) []string {
	if r := []rune(name); 2*len(r)+7 <= width {
		return []string{"*** " + strings.Join(strings.Split(name, ""), " ") + " ***"}
	}
	return wrap(name, width)
}
