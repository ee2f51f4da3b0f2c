/* A host in C for units of FMI 2.0: a train alone, or a train and a controller a vehicle.
 *
 * refs.h is written by the test: tokens, value references, axles of each vehicle. With FIXED steps
 * of so many seconds; else each step ends at the next sample of a controller.
 */
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "refs.h"

typedef struct {
    void (*logger)(void *, const char *, int, const char *, const char *, ...);
    void *(*allocate)(size_t, size_t);
    void (*let_go)(void *);
    void (*finished)(void *, int);
    void *environment;
} Callbacks;
static void say(void *e, const char *name, int status, const char *kind, const char *text, ...)
{
    (void)e, (void)kind;
    fprintf(stderr, "%s: status %d: %s\n", name, status, text);
}
static const Callbacks callbacks = {say, calloc, free, NULL, NULL};

typedef struct {
    void *component;
    int (*set_real)(void *, const unsigned *, size_t, const double *);
    int (*get_real)(void *, const unsigned *, size_t, double *);
    int (*set_integer)(void *, const unsigned *, size_t, const int *);
    int (*get_integer)(void *, const unsigned *, size_t, int *);
    int (*set_boolean)(void *, const unsigned *, size_t, const int *);
    int (*get_boolean)(void *, const unsigned *, size_t, int *);
    int (*step)(void *, double, double, int);
    int (*get_state)(void *, void **), (*set_state)(void *, void *), (*free_state)(void *, void **);
} Unit;

static void *find(void *library, const char *name)
{
    void *found = dlsym(library, name);
    if (found == NULL) {
        fprintf(stderr, "no %s\n", name);
        exit(1);
    }
    return found;
}
static void need(int status, const char *what)
{
    if (status > 1) {
        fprintf(stderr, "%s: status %d\n", what, status);
        exit(1);
    }
}

static Unit open_unit(const char *path, const char *token)
{
    Unit u;
    void *library = dlopen(path, RTLD_NOW | RTLD_LOCAL);
    void *(*make)(const char *, int, const char *, const char *, const Callbacks *, int, int);
    if (library == NULL) {
        fprintf(stderr, "%s\n", dlerror());
        exit(1);
    }
    make = find(library, "fmi2Instantiate");
    if (make("bad", 1, "another", "file:///nowhere/resources", &callbacks, 0, 0) != NULL) {
        fprintf(stderr, "it takes any guid\n");
        exit(1);
    }
    u.component = make("unit", 1, token, "file:///no%20where/resources", &callbacks, 0, 0);
    if (u.component == NULL)
        exit(1);
    u.set_real = find(library, "fmi2SetReal");
    u.get_real = find(library, "fmi2GetReal");
    u.set_integer = find(library, "fmi2SetInteger");
    u.get_integer = find(library, "fmi2GetInteger");
    u.set_boolean = find(library, "fmi2SetBoolean");
    u.get_boolean = find(library, "fmi2GetBoolean");
    u.step = find(library, "fmi2DoStep");
    u.get_state = find(library, "fmi2GetFMUstate");
    u.set_state = find(library, "fmi2SetFMUstate");
    u.free_state = find(library, "fmi2FreeFMUstate");
    need(((int (*)(void *, int, double, double, int, double))find(library, "fmi2SetupExperiment"))(
             u.component, 0, 0.0, 0.0, 0, 0.0), "setup");
    return u;
}
static void initialise(Unit *u, const char *path)
{
    void *library = dlopen(path, RTLD_NOW | RTLD_LOCAL);
    need(((int (*)(void *))find(library, "fmi2EnterInitializationMode"))(u->component), "enter");
    need(((int (*)(void *))find(library, "fmi2ExitInitializationMode"))(u->component), "exit");
}

static void control(Unit *train, Unit *own, int v, long long k)
{
    double seen[MOST], demand, factors[MOST];
    int valves[MOST], slide, i, first = FIRST[v], n = AXLES[v];
    need(train->get_real(train->component, T_SPEED + first, n, seen), "speeds");
    need(train->get_real(train->component, T_DEMAND + first, 1, &demand), "demand");
    need(own->set_real(own->component, S_SPEED, n, seen), "set speeds");
    need(own->set_real(own->component, S_DEMAND, 1, &demand), "set demand");
#ifdef SEES_PRESSURE
    need(train->get_real(train->component, T_PRESSURE + first, n, seen), "pressures");
    need(own->set_real(own->component, S_PRESSURE, n, seen), "set pressures");
#endif
    need(own->step(own->component, (double)k * SAMPLE, SAMPLE, 1), "controller");
    need(own->get_integer(own->component, S_VALVE, n, valves), "valves");
    need(own->get_real(own->component, S_FACTOR, n, factors), "factors");
    need(own->get_boolean(own->component, S_SLIDE, 1, &slide), "slide");
    need(train->set_integer(train->component, T_VALVE + first, n, valves), "set valves");
    need(train->set_real(train->component, T_FACTOR + first, n, factors), "set factors");
    need(train->set_boolean(train->component, T_SLIDE + v, 1, &slide), "set slide");
    for (i = 0; i < n; i++)
        if (valves[i] < 0 || valves[i] > 2)
            exit(1);
}

int main(int argc, char **argv)
{
    Unit train = open_unit(argv[1], T_TOKEN), own[N_VEHICLES_];
    int seed = atoi(argv[3]), v, status = 0, is_sampled[N_VEHICLES_];
    double fixed = atof(argv[4]), t = 0.0, next, out[3], before[3], again[3];
    long long k[N_VEHICLES_] = {0}, n_steps = 0;
    int has_control = strcmp(argv[2], "-") != 0;
    clock_t begun;
    void *state = NULL;
    (void)argc;
    need(train.set_integer(train.component, T_SEED, 1, &seed), "seed");
    initialise(&train, argv[1]);
    for (v = 0; has_control && v < N_VEHICLES_; v++) {
        own[v] = open_unit(argv[2], S_TOKEN);
        need(own[v].set_integer(own[v].component, S_AXLES, 1, &AXLES[v]), "axles");
        initialise(&own[v], argv[2]);
    }
    begun = clock();
    while (status == 0 && t < 300.0) {
        if (fixed > 0.0) {
            next = (double)(n_steps + 1) * fixed;
            need(train.step(train.component, t, next - t, 1), "train");
        } else {
            need(train.get_real(train.component, T_NEXT, 1, &next), "next");
            need(train.step(train.component, t, next - t, 1), "train");
        }
        t = next;
        n_steps++;
        need(train.get_boolean(train.component, T_SAMPLED, N_VEHICLES_, is_sampled), "sampled");
        for (v = 0; has_control && v < N_VEHICLES_; v++)
            if (is_sampled[v])
                control(&train, &own[v], v, k[v]++);
        need(train.get_integer(train.component, T_STATUS, 1, &status), "status");
        if (n_steps == 1000) { /* there and back */
            need(train.get_state(train.component, &state), "get state");
            need(train.get_real(train.component, T_OUT, 3, before), "out");
            need(train.step(train.component, t, 0.5, 1), "train");
            need(train.set_state(train.component, state), "set state");
            need(train.get_real(train.component, T_OUT, 3, again), "out");
            need(train.free_state(train.component, &state), "free state");
            if (memcmp(before, again, sizeof before) != 0)
                exit(1);
        }
    }
    need(train.get_real(train.component, T_OUT, 3, out), "out");
    printf("%a %a %a %lld %.6f %d\n", out[0], out[1], out[2], n_steps,
           (double)(clock() - begun) / CLOCKS_PER_SEC, status);
    return 0;
}
