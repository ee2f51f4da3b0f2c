/* The shipped example of the C door as a co-simulation unit, FMI 2.0 or 3.0 (-DFMI=2, -DFMI=3).
 *
 * Written for the tests, apart from the bench's own shim, with the functions an importer calls.
 * -DFAULT='statement' is run in every step; n_steps counts them.
 */
#include "slip_band.c"

#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#ifndef FAULT
#define FAULT
#endif
#ifndef AT_START
#define AT_START
#endif
#ifndef TOKEN
#define TOKEN "{c0ffee}"
#endif
#define MOST 48

typedef struct {
    double observation[MOST * 4], parameters[N_PARAMETERS], memory[(MOST + 1) * N_STATE];
    double command[MOST * 2], signals[2];
    int64_t n_axles, n_steps;
    void (*let_go)(void *);
} Model;

static int n_instances = 0;

static Model *make(const char *token, void *(*allocate)(size_t, size_t), void (*let_go)(void *))
{
    Model *m;
    int i;
    if (strcmp(token, TOKEN) != 0)
        return NULL;
#ifdef ONLY_ONCE
    if (n_instances > 0)
        return NULL;
#endif
    n_instances++;
    AT_START;
    m = allocate(1, sizeof *m);
    memset(m, 0, sizeof *m);
    m->let_go = let_go;
    m->n_axles = MOST;
    for (i = 0; i < N_PARAMETERS; i++)
        m->parameters[i] = PARAMETERS[i].default_value;
    return m;
}

static void end(Model *m)
{
    n_instances--;
    m->let_go(m);
}

static int step(Model *m, double h)
{
    int64_t i;
    m->n_steps++;
    FAULT;
    for (i = 0; i < m->n_axles; i++)
        m->observation[i * 4 + SLIPBENCH_SAMPLE_TIME] = h;
    slipbench_update(m->observation, m->n_axles, 4, m->parameters, N_PARAMETERS, m->memory, N_STATE,
                     m->command, m->signals, 2);
    return 0;
}

#define EXPORT __attribute__((visibility("default")))

#if FMI == 2
/* references: 0..47 speeds, 100 demand, 200..205 parameters, 300 n_axles (integer),
 * 400..447 valves (integer), 500..547 factors, 600 slide (boolean) */
typedef struct {
    void (*logger)(void *, const char *, int, const char *, const char *, ...);
    void *(*allocate)(size_t, size_t);
    void (*let_go)(void *);
    void (*finished)(void *, int);
    void *environment;
} Callbacks;

EXPORT void *fmi2Instantiate(const char *name, int type, const char *guid, const char *uri,
                             const Callbacks *callbacks, int visible, int logging)
{
    (void)name, (void)visible, (void)logging;
    if (type != 1 || strncmp(uri, "file:///", 8) != 0)
        return NULL;
    return make(guid, callbacks->allocate, callbacks->let_go);
}
EXPORT void fmi2FreeInstance(void *c) { end(c); }
EXPORT int fmi2SetupExperiment(void *c, int a, double b, double d, int e, double f)
{
    (void)c, (void)a, (void)b, (void)d, (void)e, (void)f;
    return 0;
}
EXPORT int fmi2EnterInitializationMode(void *c) { return c == NULL; }
EXPORT int fmi2ExitInitializationMode(void *c) { return c == NULL; }
EXPORT int fmi2Terminate(void *c) { return c == NULL; }
EXPORT int fmi2SetReal(void *c, const unsigned *vr, size_t n, const double *value)
{
    Model *m = c;
    size_t i;
    for (i = 0; i < n; i++) {
        if (vr[i] < MOST)
            m->observation[vr[i] * 4] = value[i];
        else if (vr[i] == 100)
            for (int64_t k = 0; k < m->n_axles; k++)
                m->observation[k * 4 + SLIPBENCH_BRAKE_DEMAND] = value[i];
        else if (vr[i] >= 200 && vr[i] < 200 + N_PARAMETERS)
            m->parameters[vr[i] - 200] = value[i];
        else
            return 3;
    }
    return 0;
}
EXPORT int fmi2SetInteger(void *c, const unsigned *vr, size_t n, const int *value)
{
    if (n != 1 || vr[0] != 300)
        return 3;
    ((Model *)c)->n_axles = value[0];
    return 0;
}
EXPORT int fmi2SetBoolean(void *c, const unsigned *vr, size_t n, const int *value)
{
    (void)c, (void)vr, (void)n, (void)value;
    return 3;
}
EXPORT int fmi2GetReal(void *c, const unsigned *vr, size_t n, double *value)
{
    Model *m = c;
    size_t i;
    for (i = 0; i < n; i++) {
        if (vr[i] < 500 || vr[i] >= 500 + MOST)
            return 3;
        value[i] = m->command[(vr[i] - 500) * 2 + SLIPBENCH_DEMAND_FACTOR];
    }
    return 0;
}
EXPORT int fmi2GetInteger(void *c, const unsigned *vr, size_t n, int *value)
{
    Model *m = c;
    size_t i;
    for (i = 0; i < n; i++) {
        if (vr[i] < 400 || vr[i] >= 400 + MOST)
            return 3;
        value[i] = (int)m->command[(vr[i] - 400) * 2 + SLIPBENCH_VALVE];
    }
    return 0;
}
EXPORT int fmi2GetBoolean(void *c, const unsigned *vr, size_t n, int *value)
{
    if (n != 1 || vr[0] != 600)
        return 3;
    value[0] = ((Model *)c)->signals[0] != 0.0;
    return 0;
}
EXPORT int fmi2DoStep(void *c, double t, double h, int keep)
{
    (void)t, (void)keep;
    return step(c, h);
}

#else
/* references: 1 speeds [n_axles], 2 demand, 200..205 parameters, 3 n_axles (structural),
 * 4 valves [n_axles] (Int32), 5 factors [n_axles], 6 slide (Boolean) */
EXPORT void *fmi3InstantiateCoSimulation(const char *name, const char *token, const char *path,
                                         bool visible, bool logging, bool events, bool early,
                                         const uint32_t *required, size_t n, void *environment,
                                         void *log, void *update)
{
    (void)name, (void)visible, (void)logging, (void)events, (void)early, (void)required, (void)n;
    (void)environment, (void)log, (void)update;
    return path[0] == '/' ? make(token, calloc, free) : NULL;
}
EXPORT void fmi3FreeInstance(void *c) { end(c); }
EXPORT int fmi3EnterConfigurationMode(void *c) { return c == NULL; }
EXPORT int fmi3ExitConfigurationMode(void *c) { return c == NULL; }
EXPORT int fmi3EnterInitializationMode(void *c, bool a, double b, double d, bool e, double f)
{
    (void)c, (void)a, (void)b, (void)d, (void)e, (void)f;
    return 0;
}
EXPORT int fmi3ExitInitializationMode(void *c) { return c == NULL; }
EXPORT int fmi3Terminate(void *c) { return c == NULL; }
EXPORT int fmi3SetFloat64(void *c, const uint32_t *vr, size_t n, const double *value, size_t n_values)
{
    Model *m = c;
    size_t i, at = 0;
    for (i = 0; i < n; i++) {
        if (vr[i] == 1)
            for (int64_t k = 0; k < m->n_axles; k++)
                m->observation[k * 4] = value[at++];
        else if (vr[i] == 2) {
            for (int64_t k = 0; k < m->n_axles; k++)
                m->observation[k * 4 + SLIPBENCH_BRAKE_DEMAND] = value[at];
            at++;
        } else if (vr[i] >= 200 && vr[i] < 200 + N_PARAMETERS)
            m->parameters[vr[i] - 200] = value[at++];
        else
            return 3;
    }
    return at == n_values ? 0 : 3;
}
EXPORT int fmi3SetUInt64(void *c, const uint32_t *vr, size_t n, const uint64_t *value, size_t n_values)
{
    if (n != 1 || n_values != 1 || vr[0] != 3)
        return 3;
    ((Model *)c)->n_axles = (int64_t)value[0];
    return 0;
}
EXPORT int fmi3GetFloat64(void *c, const uint32_t *vr, size_t n, double *value, size_t n_values)
{
    Model *m = c;
    if (n != 1 || vr[0] != 5 || (int64_t)n_values != m->n_axles)
        return 3;
    for (size_t i = 0; i < n_values; i++)
        value[i] = m->command[i * 2 + SLIPBENCH_DEMAND_FACTOR];
    return 0;
}
EXPORT int fmi3GetInt32(void *c, const uint32_t *vr, size_t n, int32_t *value, size_t n_values)
{
    Model *m = c;
    if (n != 1 || vr[0] != 4 || (int64_t)n_values != m->n_axles)
        return 3;
    for (size_t i = 0; i < n_values; i++)
        value[i] = (int32_t)m->command[i * 2 + SLIPBENCH_VALVE];
    return 0;
}
EXPORT int fmi3GetBoolean(void *c, const uint32_t *vr, size_t n, bool *value, size_t n_values)
{
    if (n != 1 || n_values != 1 || vr[0] != 6)
        return 3;
    value[0] = ((Model *)c)->signals[0] != 0.0;
    return 0;
}
EXPORT int fmi3DoStep(void *c, double t, double h, bool keep, bool *event, bool *terminate,
                      bool *early, double *last)
{
    (void)t, (void)keep;
    *event = *terminate = *early = false;
    *last = t + h;
    return step(c, h);
}
#endif
