package objective
import ("testing";"fmt";"math";"sort")
func TestZZ(t *testing.T){
	cs:=checkCases(400)
		worst:=map[string][]float64{}
		n:=0
		for i,c:=range cs{
			p:=*c.p
			ch:=newChecker(&p,12,24)
			a:=newChecker(&p,3,5).Measure(c.train).Clone()
			ch.dense=densePupil(p.Pupil/2,200); ch.denseRays=newRays(len(ch.dense.x));ch.denseAtMask=newRays(len(ch.dense.x));ch.through=make([]float64,len(ch.dense.x))
			b:=ch.Measure(c.train).Clone()
			lossy:=0
			for _,x:=range ch.bundles{if x.lossy{lossy++}}
			if lossy==0||math.IsInf(b.Metrics.ViewBlurArcmin,1){continue}
			n++
			fmt.Print(i,"/",lossy," ")
			for q:=range MetricList[:9]{
				x,y:=*MetricList[q].of(&a.Metrics),*MetricList[q].of(&b.Metrics)
				e:=math.Abs(x-y)/(math.Abs(y)+1e-3)
				worst[MetricList[q].Name]=append(worst[MetricList[q].Name],e)
			}
		}
		for q:=range MetricList[:9]{ nm:=MetricList[q].Name; w:=worst[nm]; sort.Float64s(w); fmt.Printf("   %s %.2g %.2g",nm,w[n-1],w[n/2])}
		fmt.Println()
}
