package objective_test

import (
	"relaysweep/objective"
	"relaysweep/objective/internal/testtrain"
)

func init() {
	u := objective.Use
	u.Problem, u.Group, u.Upright, u.Simple = testtrain.Problem, testtrain.Group, testtrain.Upright, testtrain.Simple
	u.DrawGroup, u.DrawProblem = testtrain.DrawGroup, testtrain.DrawProblem
	u.DrawAnyTrain, u.DrawTrainFor, u.AnyLayout = testtrain.DrawAnyTrain, testtrain.DrawTrainFor, testtrain.AnyLayout
	u.PlanesOf, u.TrainScale, u.SkipHuge, u.Margins = testtrain.PlanesOf, testtrain.TrainScale, testtrain.SkipHuge, testtrain.Margins
}
