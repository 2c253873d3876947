package judge

// Code is a stable name of a reason or a warning, with its meaning.
type Code struct {
	Code string
	// Of is "reason" or "warning": where the code stands in verdicts.json.
	Of      string
	Meaning string
}

// Codes lists every reason_code and every warning code of verdicts.json, reasons first, in alphabetical order. Codes
// do not change their meaning; new ones may be added.
func Codes() []Code { return append(reasonCodes(), warningCodes()...) }

func reasonCodes() []Code {
	var out []Code
	for _, c := range [][2]string{
		{"compressed", "the difference looks small, but over 20 % of an arm's reports are above +10 dB, where they hide differences"},
		{"control_not_random", "one arm is held against a control station in the same slots: described, not tested"},
		{"depends_on_direction", "the difference is small on average, but the data show that it depends on the direction"},
		{"different", "the arms differ: the p value, corrected for all questions, is 0.05 or less"},
		{"distance_tangled", "directivity: the distance of the stations explains the differences as well as the azimuth does"},
		{"fails", "match: a reading is above the limit; null: two names of one configuration differ; known_step: the step is outside of the interval; repeat: erections lie further apart than matters"},
		{"few_erections", "repeat: an arm was put up fewer than three times"},
		{"few_to_rule_out", "no lobe is shown, and fewer than 12 stations are too few to rule one out"},
		{"holds", "match: every reading is within the limit; null: the two names are practically the same; known_step: the step shows; repeat: erections lie closer together than matters"},
		{"impossible_reading", "match: a reading reflects more than arrives, itself or without the declared feedline, so it bounds no SWR"},
		{"late_drop_decides", "the verdict is another without a block that was dropped after the data had been looked at"},
		{"losses", "over 25 % of the blocks were lost, or more with one arm than with the other (p below 0.05)"},
		{"no_comparison", "repeat: there is no other arm to hold the arm against"},
		{"no_one_difference", "no single difference fits all blocks, so there is no interval"},
		{"no_power", "reciprocity: stations were heard both ways, and of none are both powers known"},
		{"no_readings", "match: an arm has no reading inside the limits of frequency"},
		{"no_reports", "no row was found in the spot files"},
		{"no_usable_rows", "none of the rows of the spot files could be used"},
		{"not_surrounded", "directivity: the stations heard do not surround the station"},
		{"observed_only", "reciprocity in a trial of one arm: described, not tested"},
		{"one_arm", "one arm only: the data cannot separate the antenna from the path"},
		{"open_trial", "repeat: in an open trial the interval of the spread does not hold"},
		{"order_not_random", "the order was not drawn at random: described, not tested"},
		{"order_not_sealed", "the order of the arms is not the one that was sealed: described, not tested"},
		{"order_regular", "the order is said to be random and plainly is not: described, not tested"},
		{"part_measured", "match: over half of the range lies in one gap between readings, or farther from every reading than these usually lie apart"},
		{"practically_the_same", "any difference is smaller than the smallest that matters"},
		{"receivers_differ", "the difference varies between receivers, but azimuth is not shown to be the cause"},
		{"rounding", "match: as it was shown, a reading may lie on either side of the limit"},
		{"sessions_differ", "the difference is small on average, but the intervals of single sessions do not overlap"},
		{"too_few_blocks", "the blocks are too few for a p value that could pass among all questions"},
		{"too_few_regions", "directivity of the shape any: fewer than 8 regions; reciprocity: fewer than a p value needs that could pass among all questions"},
		{"too_few_reports", "the reports allow fewer than 10 comparisons of a station in a block (heard_by: stations heard an arm fewer than 10 times)"},
		{"too_few_stations", "fewer than 3 stations (directivity: 8; shape any: 12) were heard above the cut; heard_by: fewer than 3 heard an arm; reciprocity: fewer than 3 were heard both ways"},
		{"undecided", "the data allow no difference, and also differences that matter"},
		{"unfinished", "a trial of a fixed number of blocks is not over yet"},
		{"would_pass_alone", "the difference would pass as the only question, not among all that were asked"},
	} {
		out = append(out, Code{c[0], "reason", c[1]})
	}
	return out
}

func warningCodes() []Code {
	var out []Code
	for _, c := range [][2]string{
		{"added_after_seal", "the claim was added after the seal: exploratory, to be asked again in a new trial"},
		{"after_end", "the log has lines after the end of the trial"},
		{"axis_not_predicted", "the axis of a directivity claim is to be predicted, which this version does not do"},
		{"clock", "the log's clock was off, and its times were corrected"},
		{"compressed", "over 20 % of an arm's reports are above +10 dB, where reports lag behind the true ratio"},
		{"constant_snr", "the reports of a spot file are all alike, or nearly so"},
		{"deviation", "the log notes that something was other than declared"},
		{"distance_tangled", "directivity: the distances of the stations go with the lobe, so the gates are asked beyond the distance, too"},
		{"drop_reason", "a block was dropped for a reason that seems to look at signals"},
		{"dropped_after_look", "blocks were dropped after the data had been looked at"},
		{"ended_early", "the log ends the trial before its last block, so only the numbers that hold at every look count"},
		{"few_sectors", "the stations lie in fewer than three 45-degree sectors"},
		{"few_stations", "fewer than 8 stations were heard"},
		{"gap_in_readings", "match: over a quarter of the range lies between two readings"},
		{"late_switch", "an arm was connected late, and the dwells of its block were shortened alike"},
		{"line_loss", "match: with its mismatch the feedline loses over 1 dB"},
		{"listening_unknown", "heard_by: in some blocks background does not tell who was listening, or the claim is on what is received"},
		{"losses", "over 25 % of the blocks were lost, or more with one arm than with the other (p below 0.05)"},
		{"match_explains", "by the sweeps, mismatch and line loss explain over half of a difference that is there"},
		{"match_is_not_efficiency", "match: a good SWR does not mean that power is radiated"},
		{"measured_at_radio", "match: loss of the feedline makes the SWR look better than it is at the antenna"},
		{"mixed_references", "match: the SWR of the claim's sweeps refers to different impedances"},
		{"no_dwell", "a line of the log fits no dwell"},
		{"no_log", "there is no switch log: the planned times count"},
		{"not_sealed", "the experiment was not sealed: that the order was random is the operator's word"},
		{"one_erection", "an arm was put up only once: the verdict speaks of these erections"},
		{"one_region", "one region holds over 40 % of the weight"},
		{"one_station", "one station holds over 20 % of the weight"},
		{"one_way", "reciprocity: more stations were heard in one direction only than both ways"},
		{"order_declared", "the order was drawn elsewhere: that it was random is the operator's word"},
		{"pause_order", "a pause or resume of the log has no counterpart"},
		{"power_claimed", "reciprocity: the other stations' powers are what they claim"},
		{"power_differs", "by the log, the mean power of the two arms differs by more than 0.3 dB"},
		{"radio_clock", "the clock of the radio was off"},
		{"saturated", "heard_by: in over half of the blocks over 90 % of the stations heard both arms"},
		{"seal_differs", "the experiment file was changed after it was sealed"},
		{"sealed_late", "the seal was made after the trial began"},
		{"sessions_differ", "the intervals of single sessions do not overlap"},
		{"shared_coin", "one draw of the order served all bands"},
		{"short_dwell", "a dwell is shorter than the usual time between two reports of one station"},
		{"start_twice", "a session has more than one start in the log"},
		{"thinned", "reports come at intervals of more than two slots: a missing report is no proof of silence"},
		{"times_doubtful", "the times of a spot file are doubtful"},
		{"trial_test_failed", "a null or known_step claim failed on this band"},
		{"unconfirmed", "over 20 % of the dwells have no connected event in the log"},
		{"wrong_arm", "the log has another arm connected than the schedule"},
	} {
		out = append(out, Code{c[0], "warning", c[1]})
	}
	return out
}
