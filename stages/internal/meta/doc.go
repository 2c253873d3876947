// Package meta combines estimates of one quantity that several studies made: random-effects meta-analysis.
//
// # Model
//
// Study i of k found y(i) with sampling variance v(i), which is taken as known. The true values of the studies scatter
// about a mean mu with variance tau^2:
//
//	y(i) = mu + u(i) + e(i);  var u = tau^2, var e = v(i);  w(i) = 1/(v(i) + tau^2)
//	muhat = sum w y / sum w;  Q = sum (y - muhat)^2/v with tau^2 = 0
//
// tau^2 is found by restricted maximum likelihood or by the moments of DerSimonian and Laird, or taken as 0 (equal
// effects). Three intervals of mu are offered (Test): Wald's with the normal distribution; that of Knapp and Hartung, with t
// of k-1 degrees of freedom and the variance scaled by
//
//	s = sum w (y - muhat)^2 / (k-1);
//
// and the same with s never below 1. With few studies the first is too short; the second may by chance be shorter still, where
// the studies happen to agree; the third is not, at the cost of being wide.
//
// Vectors is the same for a quantity of two components with one tau^2 in every direction.
//
// # How the restricted likelihood is maximised
//
// Fisher's scoring may run away or stop at a lesser maximum. Here the derivative is looked at on a grid from 0 to a bound
// above which it is negative for certain, each change of its sign is halved to the last bit, and the highest of the maxima
// counts. There is nothing that can fail to converge.
//
// # What it does not do
//
// It gives no verdict, knows no family of questions and no unit. Two studies say next to nothing about tau^2, and it
// does not warn: who asks must.
//
// Sources: DerSimonian and Laird, Meta-analysis in clinical trials, Controlled Clinical Trials 7, 177-188, 1986; Hartung and
// Knapp, On tests of the overall treatment effect in meta-analysis with normally distributed responses, Statistics in
// Medicine 20, 1771-1782, 2001; Knapp and Hartung, Improved tests for a random effects meta-regression with a single
// covariate, Statistics in Medicine 22, 2693-2710, 2003; Roever, Knapp and Friede, Hartung-Knapp-Sidik-Jonkman approach and its
// modification for random-effects meta-analysis with few studies, BMC Medical Research Methodology 15:99, 2015;
// Viechtbauer, Confidence intervals for the amount of heterogeneity in meta-analysis, Statistics in Medicine 26, 37-52, 2007;
// Higgins and Thompson, Quantifying heterogeneity in a meta-analysis, Statistics in Medicine 21, 1539-1558, 2002.
package meta
