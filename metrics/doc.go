// Package metrics turns counts into estimates: small contingency tables in,
// figures with their interval, denominator and warnings out.
//
// Everything here is a pure function. The package reads no file, runs no
// query, asks no clock and keeps no state; where a method draws at random, the
// caller passes a seeded *rand.Rand (math/rand/v2). It leaves to others how the
// counts came about (package queries) and how an estimate is shown.
//
// # How to read a result
//
// A bad argument is an error that wraps ErrArgument. Thin data is an answer: an
// Estimate whose NotEstimable says why there is no figure. No NaN leaves the
// package, and no 0 stands for "unknown". Proportions are 0 to 1. An estimate
// carries warnings that belong beside the number wherever it is printed.
//
// # Where to start
//
//  1. Count verified episodes by test result and need: TwoByTwo. Its
//     Sensitivity and Specificity are the naive figures.
//  2. If an outcome is known for some episodes only, and who was looked at
//     depends on the advice, the naive figures mislead. Arrange the counts as
//     VerificationStratum values and call Corrected; read Bounds with it.
//  3. If Corrected says "not estimable", draw an audit sample (AuditAllocation
//     says how many of which) and estimate from it (AuditPrevalence).
//
// # Question and function
//
// One row a function; the doc comment of each names formula, edges and source.
//
// One proportion
//
//	how sure is x of n                              Wilson (the default everywhere)
//	... guaranteed never too narrow                 ClopperPearson
//	... exact, but less wasteful                    MidP
//	... as a posterior, small x                     Jeffreys
//	... simple to redo by hand                      AgrestiCoull
//	... when the same animal, advisor or practice
//	    recurs                                      ClusterRobust, WidenByDesignEffect
//
// Two unpaired proportions
//
//	by how much do two groups differ                NewcombeDifference
//	... with small or empty cells                   MiettinenNurminenDifference
//	... two estimates of any kind                   DifferenceOfEstimates
//	shares of several categories                    DistanceOfShares
//
// One test against need, every episode verified
//
//	of those in need, how many were marked          Sensitivity
//	of those not in need, how many were left        Specificity
//	of those marked, how many were in need          PPV
//	of those left, how many were not in need        NPV
//	share of right answers; share in need           Accuracy, Prevalence
//	how much a mark (or its absence) moves the odds LRPositive, LRNegative
//	one figure for both                             DiagnosticOddsRatio, Youden
//	... with an empty cell, a half in each          LRPositivePlusHalf, LRNegativePlusHalf,
//	                                                DiagnosticOddsRatioPlusHalf
//	predictive values where need is rarer           PPVAt, NPVAt, PostTest
//	does a figure meet a floor                      AgainstFloor
//
// One test against need, outcome known for some episodes only
//
//	accuracy corrected, with the numbers missed     Corrected
//	... in closed form, as published                BeggGreenes
//	what is certain without assumptions             VerificationBounds
//	what if the unseen are worse off; how much
//	    worse would change the verdict              WhatIf, TippingPoint,
//	                                                TippingPointSpecificity
//	which strata to join, in a stated order         CollapseStrata
//
// Follow-up by audit
//
//	how many were in need among those not seen      AuditPrevalence
//	which strata get how many calls                 AuditAllocation
//	how many calls for a width; to see one case     PlanAudit, PlanAuditDetection
//
// Where values lie
//
//	lowest, quartiles, highest                      SpreadOf
//
// A reference that errs itself
//
//	vets' findings beside owners' accounts          AccuracyBySource
//	accuracy with the reference's errors taken out  AgainstImperfectReference
//	prevalence with the test's errors taken out     RoganGladen (RoganGladenExact,
//	                                                RoganGladenEstimated)
//	two tests, two populations, no reference        HuiWalter
//
// How many are needed
//
//	to show a sensitivity above a floor             PlanAboveFloor
//	... to know it within a half-width              PlanHalfWidth
//	to tell two rule sets apart                     PlanPaired, PairedPower
//	how much longer until any figure is clear
//	    of a bound                                  MonthsToSettle
//
// A continuous finding: area and thresholds
//
//	how well do its values separate                 AUCDeLong
//	... near 1; with few animals                    AUCDeLongLogit, AUCNewcombe
//	... as older papers have it                     AUCHanleyMcNeil
//	does it separate at all                         MannWhitney
//	only where few are referred, or few missed      PartialAUC
//	bad at both ends                                DistanceFromRange
//	which of two findings separates better          CompareAreasPaired
//	does it separate as well in another group       CompareAreasUnpaired
//	the curve; every threshold with its rates       ROC, CandidateTable
//	the threshold in force                          AccuracyAt
//	which threshold                                 ChooseThreshold with ByCostRatio,
//	    ByCostRatioAt, ByNetBenefit, BySensitivityFloor, BySpecificityFloor,
//	    ByReferralCeiling or ByYouden
//	how firmly do the data choose it, how much
//	    does the choice flatter                     BootstrapThreshold
//	what would it refer a day                       ReferralsPerDay
//	what is spent for each event                    CostPerEvent
//	curve, area and threshold where only some
//	    episodes were verified                      CorrectedROC, CorrectedThreshold
//
// Two rule sets on the same episodes
//
//	all rates side by side                          CompareRules
//	do they say yes equally often                   McNemarMidP (McNemarExact, McNemar,
//	                                                McNemarCorrected for older papers)
//	by how much do they differ                      PairedDifferenceTango,
//	                                                PairedDifferenceNewcombe
//	ratio of their rates                            PairedRatio, PairedRatioBonettPrice
//	is the new one not worse by more than a margin  PairedNonInferiority
//	of those marked, who is right more often        ComparePPV, CompareNPV
//	who is moved up and down                        NetReclassification
//	all of it where only some episodes were
//	    verified                                    CompareRulesPartial
//	what of it is certain without assumptions       ComparePairBounds
//
// What a rule set is worth
//
//	at one threshold probability                    NetBenefit, NetBenefitAll,
//	                                                StandardisedNetBenefit
//	over many, several rule sets                    DecisionCurve
//	needless referrals spared                       AvoidedReferrals
//	two on the same episodes; where they are even   NetBenefitDifference, BreakEven
//	all of it where only some episodes were
//	    verified                                    CorrectedDecisionCurve,
//	                                                CompareWorthPartial
//
// Many small groups, many comparisons
//
//	do groups differ more than chance makes them    TaroneOverdispersion
//	a calm figure for each of many small groups     BetaByML, then Shrink of the result
//	... by hand                                     BetaByMoments, JamesStein
//	many p-values: no false alarm at all            Holm (Bonferroni, Hochberg)
//	... few false alarms among the calls            BenjaminiHochberg,
//	                                                BenjaminiYekutieli
//	... when some flags fired too rarely to count   Tarone with FisherSmallestP
//	shares of many categories, all at once          SisonGlazLimits
//	limits for any figure of a table                BayesianBootstrap
//
// Several flags together
//
//	what does each add when the others are known    FitLogistic, then ProfileLimits
//	... when one of them separates the outcomes     FitFirth, then ProfileLimits
//	... when animals or practices recur             FitLogistic, then ClusterLimits
//	what would the rule set miss without a flag,
//	    given the order asked                       LeaveOneFlagOut
//	are predicted probabilities right               Calibrate, Brier, HosmerLemeshow
//
// Several advice lines
//
//	one proportion for all, and how they differ     PoolBinomialNormal
//	... from log odds                               LogitEffects, then PoolREML
//	                                                (PoolDerSimonianLaird, PoolFixed),
//	                                                then FromLogit
//	... from figures with limits, such as
//	    corrected ones                              LogitFromLimits, then PoolREML
//	sensitivity and specificity together            PoolBivariateBinomial, PoolBivariate
//	one ratio from many thin tables                 MantelHaenszelOddsRatio,
//	                                                MantelHaenszelRiskRatio
//	... from logarithms                             LogOddsRatioEffects or
//	                                                LogRiskRatioEffects, then
//	                                                PoolREML, then FromLog
//	do small lines report better tests              Deeks
//
// Triage levels: what was advised against what was needed
//
//	one table of levels folded at a cut             LevelMatrix.AtCut
//	urgent animals kept at home; the others sent
//	    in; in each of the three meanings           UnderTriage, OverTriage
//	over all levels, by one or by more              UnderByLevels, OverByLevels
//	right, or within one level                      ExactLevel, WithinLevels
//	level by level                                  LevelTable
//	how far off on average                          MeanLevelError
//	the worst cells, as cases to read               WorstUnderTriage
//	does advice follow need in order                OrdinalAssociation
//	does the line use the levels as the vets do     StuartMaxwell, Bhapkar, Bowker
//	serious outcomes by level, where need is
//	    unknown                                     SeriousByLevel, SeriousTrend
//	shares of several levels together               MultinomialShares
//
// Agreement of readers (owner and vet, several nurses)
//
//	two readers, codes                              CohenKappa
//	... with near misses half right                 WeightedKappa with LinearWeights,
//	                                                QuadraticWeights or IdentityWeights
//	is a low kappa the readers' fault               IndicesOfAgreement
//	rare signs; any readers, readings missing       GwetAC
//	many readers                                    FleissKappa, KrippendorffAlpha
//	... from a table of two                         PatternsOfTable
//	two ways to measure a number                    BlandAltman
//	several readers of a number                     IntraclassCorrelation
//
// Over time, and between units
//
//	the settings to begin with                      CommonChartSettings,
//	                                                CommonFunnelSettings
//	a proportion a month; very large denominators   PChart, LaneyPChart
//	a rate a month                                  UChart, LaneyUChart
//	rare misses: calls, or days, between them       GChart, TChart
//	a slow drift                                    EWMA, EWMAProportion
//	more events than allowed for                    DesignProportionCusum,
//	    ProportionCusumLimit, ProportionCusum.Sum
//	a shift of a number                             Cusum
//	how often a chart cries wolf                    ShewhartRunLength, EWMARunLength,
//	    CusumRunLength, ProportionCusum.RunLength
//	units of different size, unranked               Funnel, FunnelLimit
//
// Publishing records
//
//	can a person be picked out, is what is found
//	    out about the person varied enough          Anonymity, RecordsBelow
//	... for an ordered property                     OrderedDistance
//	... by somebody who holds a register            JournalistRisk
package metrics
