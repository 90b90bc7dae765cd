/* gnuplot in a window: it says when it has drawn, and gets the next picture only then, so that nobody waits for it. */
#include <fcntl.h>
#include <poll.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "terminal.h"
#include "watch.h"

struct lay_watch_window {
    pid_t child;
    int to, from;
    bool waiting, gone;
    char *left; /* of the script, not yet written */
    size_t length, done;
};

static void become_gnuplot(int in, int out) {
    int none = open("/dev/null", O_WRONLY);
    dup2(in, STDIN_FILENO);
    dup2(out, STDOUT_FILENO);
    if (none >= 0) dup2(none, STDERR_FILENO);
    setpgid(0, 0); /* Ctrl-C is ours */
    execlp("gnuplot", "gnuplot", (char *)NULL);
    _exit(127);
}

lay_watch_window *lay_watch_window_open(void) {
    int in[2], out[2];
    if (!lay_terminal_display()) return NULL;
    lay_watch_window *w = lay_calloc(1, sizeof *w);
    if (!w || pipe(in) != 0) {
        free(w);
        return NULL;
    }
    if (pipe(out) != 0 || (w->child = fork()) < 0) {
        free(w);
        return NULL;
    }
    if (w->child == 0) {
        close(in[1]);
        close(out[0]);
        become_gnuplot(in[0], out[1]);
    }
    close(in[0]);
    close(out[1]);
    w->to = in[1];
    w->from = out[0];
    fcntl(w->to, F_SETFL, O_NONBLOCK);
    fcntl(w->from, F_SETFL, O_NONBLOCK);
    return w;
}

/* As much as the pipe takes. */
static void push(lay_watch_window *w) {
    while (w->done < w->length) {
        ssize_t n = write(w->to, w->left + w->done, w->length - w->done);
        if (n <= 0) break;
        w->done += (size_t)n;
    }
    if (w->done < w->length) return;
    free(w->left);
    w->left = NULL;
}

bool lay_watch_window_ready(lay_watch_window *w) {
    char heard[256];
    if (w->left) push(w);
    struct pollfd from = {.fd = w->from, .events = POLLIN};
    if (w->waiting && poll(&from, 1, 0) > 0) {
        ssize_t n = read(w->from, heard, sizeof heard);
        w->gone = n == 0;
        if (n > 0) w->waiting = false;
    }
    return !w->gone && !w->waiting && !w->left;
}

void lay_watch_window_draw(lay_watch_window *w, const lay_text *script) {
    w->left = lay_strdup(script->text);
    w->length = script->length;
    w->done = 0;
    w->waiting = true;
    if (w->left) push(w);
}

void lay_watch_window_close(lay_watch_window *w) {
    if (!w) return;
    close(w->to);
    close(w->from);
    kill(w->child, SIGTERM);
    waitpid(w->child, NULL, 0);
    free(w->left);
    free(w);
}
