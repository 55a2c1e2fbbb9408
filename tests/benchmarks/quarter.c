/* The quarter car of suspkit.ride_kernel as a plain C loop, to time the compiled kernel against.
 *
 * The same model and the same steps: straight pieces for springs and damper, gas, smoothed
 * friction, linkage cubic, tyre that lifts off, ground cubic, energy book, and a step with a kink
 * made again in eight. Written for one corner only, with nothing left in it for pitch or roll.
 */
#include <math.h>

#define GUIDE 4096
#define GUIDE_SPEED 0.1
#define PIECES 8
#define METAL 1e6

typedef struct {
    double arm, unsprung, radius, kt, ct;     /* hub at zero travel below the body; wheel; tyre */
    double mass, g;                           /* carried mass; gravity */
    double width;                             /* of a linkage cell */
    long cells, springs, dampers, last;       /* counts; last ground cell */
    double area, pressure, volume, atmosphere, exponent;
    double friction, soft;
    double speed, step, place;                /* over the ground; its knots; where it starts */
    const double *link, *sx, *sy, *ss, *dx, *dy, *ds, *ground;
    const long *guide;
} Car;

typedef struct { double rate[4], power[4], seen[6]; long mark; int metal; } Out;

static inline long least(long a, long b) { return a < b ? a : b; }
static inline long most(long a, long b) { return a > b ? a : b; }

/* state: body, hub, and their speeds */
static inline void rates(const Car *c, const double *y, double t, long *hint, Out *o)
{
    double along = c->speed * t - c->place, height = c->ground[0], rise = 0.0;
    if (along > 0.0) {
        long cell = least((long)(along / c->step), c->last);
        double u = fmin(along - cell * c->step, c->step);
        const double *p = c->ground + 4 * cell;
        height = p[0] + u * (p[1] + u * (p[2] + u * p[3]));
        if (along < (c->last + 1) * c->step)
            rise = c->speed * (p[1] + u * (2.0 * p[2] + u * 3.0 * p[3]));
    }
    double z = y[1] - y[0] - c->arm, z_speed = y[3] - y[2];
    double inside = fmin(fmax(z, 0.0), c->cells * c->width);
    long cell = least((long)(inside / c->width), c->cells - 1);
    double u = inside - cell * c->width;
    const double *p = c->link + 4 * cell;
    double ratio = p[1] + u * (2.0 * p[2] + u * 3.0 * p[3]);
    double s = p[0] + u * (p[1] + u * (p[2] + u * p[3])) + ratio * (z - inside);
    double v = ratio * z_speed;

    long piece = *hint;
    while (piece < c->springs && c->sx[piece] <= s) piece++;
    while (piece > 0 && c->sx[piece - 1] > s) piece--;
    *hint = piece;
    o->metal = c->ss[piece] > METAL;
    long knot = most(piece - 1, 0);
    double f = c->sy[knot] + c->ss[piece] * (s - c->sx[knot]);
    if (c->area > 0.0) {
        double left = fmax(c->volume - c->area * s, 0.02 * c->volume);
        f += (c->pressure * pow(c->volume / left, c->exponent) - c->atmosphere) * c->area;
    }
    long bucket = (long)((v / (fabs(v) + GUIDE_SPEED) + 1.0) * (0.5 * GUIDE));
    piece = c->guide[least(most(bucket, 0), GUIDE - 1)];
    while (piece < c->dampers && c->dx[piece] <= v) piece++;
    while (piece > 0 && c->dx[piece - 1] > v) piece--;
    knot = most(piece - 1, 0);
    double damp = c->dy[knot] + c->ds[piece] * (v - c->dx[knot]);
    double rub = c->friction * v / sqrt(v * v + c->soft * c->soft);
    double total = f + damp + rub, held = total * ratio;

    double squeeze = c->radius + height - y[1], closing = rise - y[3], grip = 0.0, tyre = 0.0;
    if (squeeze > 0.0) {
        grip = c->kt * squeeze;
        tyre = fmax(0.0, grip + c->ct * closing);
    }
    o->rate[0] = y[2];
    o->rate[1] = y[3];
    o->rate[2] = held / c->mass - c->g;
    o->rate[3] = (tyre - held) / c->unsprung - c->g;
    o->power[0] = tyre * rise;
    o->power[1] = damp * v;
    o->power[2] = rub * v;
    o->power[3] = (tyre - grip) * closing;
    o->seen[0] = y[1], o->seen[1] = z, o->seen[2] = s;
    o->seen[3] = v, o->seen[4] = total, o->seen[5] = tyre;
    o->mark = 8 * *hint + 4 * (tyre > 0.0) + (v > -0.5 * c->soft) + (v > 0.5 * c->soft);
}

/* record: rows of height, its acceleration and what the wheel saw */
void run(const Car *car, double *y, double dt, long stride, long count, double *record,
         double *energy)
{
    long hint = 0;
    for (int j = 0; j < 4; j++) energy[j] = 0.0;
    for (long step = 0; step <= count; step++) {
        int pieces = 1, made = 0;
        double h = dt;
        while (made < pieces) {
            double t = step * dt + made * h, trial[4], sum[4], work[4];
            long mark = 0;
            int kink = 0;
            Out o;
            for (int stage = 0; stage < 4; stage++) {
                double ahead = stage == 0 ? 0.0 : stage == 3 ? h : 0.5 * h;
                for (int j = 0; j < 4; j++)
                    trial[j] = stage ? y[j] + ahead * o.rate[j] : y[j];
                rates(car, trial, t + ahead, &hint, &o);
                if (stage == 0) {
                    mark = o.mark;
                    kink = o.metal;
                    if (pieces == 1) {
                        if (step % stride == 0) {
                            double *row = record + 8 * (step / stride);
                            row[0] = y[0], row[1] = o.rate[2];
                            for (int j = 0; j < 6; j++) row[2 + j] = o.seen[j];
                        }
                        if (step == count) return;
                    }
                    for (int j = 0; j < 4; j++) sum[j] = o.rate[j], work[j] = o.power[j];
                } else {
                    double share = stage == 3 ? 1.0 : 2.0;
                    kink |= o.mark != mark;
                    for (int j = 0; j < 4; j++)
                        sum[j] += share * o.rate[j], work[j] += share * o.power[j];
                }
            }
            if (kink && pieces == 1) {
                pieces = PIECES;
                h = dt / PIECES;
                continue;
            }
            for (int j = 0; j < 4; j++) y[j] += h / 6.0 * sum[j], energy[j] += h / 6.0 * work[j];
            made++;
        }
    }
}
