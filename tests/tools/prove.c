#include <stdio.h>
#include <stdlib.h>
#include <math.h>
#include "proof/proof.h"
int main(int argc,char**argv)
{
    static rg_setup setup; static rg_sweep_result r; static proof_sweep s; proof_bench b; proof_random q=proof_seed(1);
    double ppm = argc>5?atof(argv[5]):25;
    proof_setup(&setup,ppm); proof_bench_new(&b,&setup); proof_sweep_default(&s);
    double el[5]={-.8,-.4,0,.4,.8};
    s.scene.pad.level_mm=argc>1?atof(argv[1]):-0.01; s.scene.pad.tilt_mm=argc>2?atof(argv[2]):0; s.scene.pad.tilt_bearing_deg=200;
    if(argc>3){s.scene.pad.creases=1; s.scene.pad.crease[0]=(rg_synth_crease){75,argc>4?atof(argv[4]):7,atof(argv[3])};}
    proof_cameras(&s,9,el,5,&q); proof_render(&s,&setup.lens);
    proof_save(&b,&s,1,"/tmp/synthscratch/sweep");
    rg_frame f[40]; proof_measure(&b,&setup,&s,1,f,&r);
    double w[360]; rg_synth_widths(&s.scene,w);
    printf("verdict %s plane %d c %.4f a %.4f s %.4f sig %.4f psf %.3f radiance %.2f %.2f %.2f bulge %.3f\n",rg_verdict_name(r.map.verdict),r.plane.found,r.plane.c,r.plane.a,r.plane.s,r.plane.sigma_mm,r.psf_sigma_px,r.radiance[0],r.radiance[1],r.radiance[2],r.geometry.bulge_mm);
    for(int i=0;i<r.map.reasons;i++)puts(r.map.reason[i]);
    for(int i=0;i<s.frames;i++)printf("%d used %d %s  b %.1f e %.2f rms %.3f thr %.4f slots %d streaks %d\n",i,f[i].used,f[i].reason,f[i].bearing_deg,f[i].elevation_deg,f[i].pose.rms_px,f[i].light.threshold.high,f[i].light.slots,f[i].light.streaks);
    for(int i=0;i<360;i+=3){rg_bin*p=&r.map.bin[i]; if(w[i]>0||p->width_mm>0) printf("%d true %.4f meas %.4f u %.4f (n %.4f r %.4f p %.4f po %.4f m %.4f) dl %.4f %s frames %d lit %d tilt %.4f\n",i,w[i],p->width_mm,p->u_mm,p->fit.u_noise_mm,p->fit.u_radiance_mm,p->fit.u_psf_mm,p->fit.u_pose_mm,p->fit.u_model_mm,p->detection_limit_mm,rg_bin_state_name(p->state),p->frames,p->lit,p->tilt);}
    for(int i=0;i<r.map.arcs;i++)printf("arc %.1f..%.1f max %.4f u %.4f at %.1f uend %.2f\n",r.map.arc[i].start_deg,r.map.arc[i].end_deg,r.map.arc[i].max_width_mm,r.map.arc[i].u_max_mm,r.map.arc[i].max_bearing_deg,r.map.arc[i].u_end_deg);
    return 0;
}
