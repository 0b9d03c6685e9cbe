// opencv.cpp - the same job done in the plain way with OpenCV, as a reference for speed and accuracy: whole
// picture decoded, tags by its ArUco module, pose by solvePnP from the tags' corners, the rim's cylinder
// unrolled by remap, Otsu's threshold, connected components, half of all rows lit. Peak-hold over the
// frames gives the widest gap of each bearing.
//
//   opencv_reference CASE [THREADS]
//
// CASE is what tests/tools/speed.c writes. Prints lines of "key value" for it: milliseconds of each
// stage (processor time, summed over the threads), of all by the wall, and the width at each bearing.
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <fstream>
#include <iostream>
#include <map>
#include <string>
#include <thread>
#include <vector>

#include <opencv2/aruco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

namespace {

const double pi = 3.14159265358979323846;
const double strip_reach_mm = 0.6; // above and below the rim's edge
const double touch_mm = 0.15;      // a component must come this near to the rim's edge

struct Case {
    cv::Matx33d camera = cv::Matx33d::eye();
    std::vector<double> distortion;
    double rim_outer_mm = 0, px_per_mm = 0;
    int crown = 0;
    double apothem_mm = 0, tag_mm = 0, height_mm = 0;
    std::vector<std::string> frames;
};

enum Stage { DECODE, TAGS, POSE, UNROLL, LIGHT, STAGES };
const char *const stage_name[STAGES] = {"decode", "tags", "pose", "unroll", "light"};

struct Result {
    double ms[STAGES] = {};
    bool posed = false;
    double width_mm[360] = {};
};

double thread_ms()
{
    timespec t;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return double(t.tv_sec) * 1e3 + double(t.tv_nsec) * 1e-6;
}

bool read_case(const char *path, Case &c)
{
    std::ifstream in(path);
    std::string key;
    c.distortion.assign(5, 0.0);
    while (in >> key) {
        if (key == "lens")
            in >> c.camera(0, 0) >> c.camera(1, 1) >> c.camera(0, 2) >> c.camera(1, 2) >> c.distortion[0] >>
                c.distortion[1] >> c.distortion[2] >> c.distortion[3] >> c.distortion[4];
        else if (key == "rim")
            in >> c.rim_outer_mm >> c.px_per_mm;
        else if (key == "crown")
            in >> c.crown >> c.apothem_mm >> c.tag_mm >> c.height_mm;
        else if (key == "frame") {
            std::string file;
            std::getline(in >> std::ws, file);
            c.frames.push_back(file);
        } else
            return false;
    }
    return c.rim_outer_mm > 0 && !c.frames.empty();
}

cv::Point3d direction(double bearing_deg)
{
    double b = bearing_deg * pi / 180;
    return {std::cos(b), -std::sin(b), 0};
}

// Top left, top right, bottom right, bottom left, as seen from outside.
void tag_corners(const Case &c, int face, std::vector<cv::Point3d> &to)
{
    cv::Point3d n = direction(60.0 * face), right = direction(60.0 * face - 90) * -1.0;
    // Looking along -n with +Z up, right is -n x Z: towards smaller bearings.
    right = cv::Point3d(-n.y, n.x, 0);
    cv::Point3d middle = n * c.apothem_mm + cv::Point3d(0, 0, c.height_mm), up(0, 0, 1);
    double h = c.tag_mm / 2;
    to = {middle - right * h + up * h, middle + right * h + up * h, middle + right * h - up * h, middle - right * h - up * h};
}

bool find_pose(const Case &c, const std::vector<int> &ids, const std::vector<std::vector<cv::Point2f>> &corners, cv::Vec3d &rvec,
               cv::Vec3d &tvec)
{
    double best = 1e9;
    // The dictionary's first corner need not be the tag's upper left one: take the turn that fits.
    for (int turn = 0; turn < 4; turn++) {
        std::vector<cv::Point3d> object, tag;
        std::vector<cv::Point2d> image, seen;
        for (size_t i = 0; i < ids.size(); i++) {
            int face = ids[i] - 6 * c.crown;
            if (face < 0 || face > 5)
                continue;
            tag_corners(c, face, tag);
            for (size_t k = 0; k < 4; k++) {
                object.push_back(tag[k]);
                image.emplace_back(corners[i][(k + size_t(turn)) % 4]);
            }
        }
        cv::Vec3d r, t;
        if (object.size() < 4 || !cv::solvePnP(object, image, c.camera, c.distortion, r, t, false, cv::SOLVEPNP_SQPNP) ||
            !cv::solvePnP(object, image, c.camera, c.distortion, r, t, true, cv::SOLVEPNP_ITERATIVE))
            continue;
        cv::projectPoints(object, r, t, c.camera, c.distortion, seen);
        double sum = 0;
        for (size_t i = 0; i < seen.size(); i++)
            sum += cv::norm(seen[i] - image[i]) * cv::norm(seen[i] - image[i]);
        if (sum < best) {
            best = sum;
            rvec = r;
            tvec = t;
        }
    }
    return best < 1e9;
}

// Rows from above to below, a column for each half degree in view.
cv::Mat unroll(const Case &c, const cv::Mat &gray, const cv::Vec3d &rvec, const cv::Vec3d &tvec, std::vector<int> &bearing,
               double &row_mm)
{
    cv::Matx33d turn;
    cv::Rodrigues(rvec, turn);
    cv::Vec3d eye = -(turn.t() * tvec);
    double look = std::atan2(-eye[1], eye[0]) * 180 / pi;
    int rows = int(std::lround(2 * strip_reach_mm * c.px_per_mm)) + 1, half = 55;
    row_mm = 2 * strip_reach_mm / (rows - 1);
    std::vector<cv::Point3d> point;
    bearing.clear();
    for (int b = -half; b <= half; b++)
        bearing.push_back((int(std::lround(look)) + b + 720) % 360);
    for (int y = 0; y < rows; y++)
        for (int b : bearing)
            point.push_back(direction(b) * (c.rim_outer_mm / 2) + cv::Point3d(0, 0, strip_reach_mm - y * row_mm));
    std::vector<cv::Point2d> at;
    cv::projectPoints(point, rvec, tvec, c.camera, c.distortion, at);
    cv::Mat map(rows, int(bearing.size()), CV_32FC2), strip;
    for (size_t i = 0; i < at.size(); i++)
        map.at<cv::Vec2f>(int(i / bearing.size()), int(i % bearing.size())) = cv::Vec2f(float(at[i].x), float(at[i].y));
    cv::remap(gray, strip, map, cv::noArray(), cv::INTER_LINEAR, cv::BORDER_CONSTANT);
    return strip;
}

void read_light(const cv::Mat &strip, const std::vector<int> &bearing, double row_mm, Result &r)
{
    cv::Mat lit, label, stats, centre;
    double level = cv::threshold(strip, lit, 0, 255, cv::THRESH_BINARY | cv::THRESH_OTSU);
    if (level < 1)
        return;
    int n = cv::connectedComponentsWithStats(lit, label, stats, centre, 8);
    int middle = strip.rows / 2, near = int(std::lround(touch_mm / row_mm));
    std::vector<bool> slot(size_t(n), false);
    for (int k = 1; k < n; k++) {
        int top = stats.at<int>(k, cv::CC_STAT_TOP), tall = stats.at<int>(k, cv::CC_STAT_HEIGHT);
        slot[size_t(k)] = top <= middle + near && top + tall >= middle - near && tall < strip.rows / 2;
    }
    for (int x = 0; x < strip.cols; x++) {
        int rows = 0;
        for (int y = 0; y < strip.rows; y++)
            rows += slot[size_t(label.at<int>(y, x))];
        double &w = r.width_mm[bearing[size_t(x)]];
        w = std::max(w, rows * row_mm);
    }
}

Result take(const Case &c, const std::string &file, const cv::Ptr<cv::aruco::Dictionary> &dictionary,
            const cv::Ptr<cv::aruco::DetectorParameters> &parameters)
{
    Result r;
    double t = thread_ms();
    auto stage = [&](Stage s) {
        double now = thread_ms();
        r.ms[s] += now - t;
        t = now;
    };
    cv::Mat gray = cv::imread(file, cv::IMREAD_GRAYSCALE);
    stage(DECODE);
    if (gray.empty())
        return r;
    std::vector<int> ids, bearing;
    std::vector<std::vector<cv::Point2f>> corners;
    cv::aruco::detectMarkers(gray, dictionary, corners, ids, parameters);
    stage(TAGS);
    cv::Vec3d rvec, tvec;
    r.posed = find_pose(c, ids, corners, rvec, tvec);
    stage(POSE);
    if (!r.posed)
        return r;
    double row_mm;
    cv::Mat strip = unroll(c, gray, rvec, tvec, bearing, row_mm);
    stage(UNROLL);
    read_light(strip, bearing, row_mm, r);
    stage(LIGHT);
    return r;
}

std::vector<Result> take_all(const Case &c, unsigned threads)
{
    std::vector<Result> result(c.frames.size());
    auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11);
    auto parameters = cv::aruco::DetectorParameters::create();
    parameters->cornerRefinementMethod = cv::aruco::CORNER_REFINE_SUBPIX;
    std::atomic<size_t> next{0};
    std::vector<std::thread> worker;
    for (unsigned k = 0; k < threads; k++)
        worker.emplace_back([&] {
            for (size_t i; (i = next++) < c.frames.size();)
                result[i] = take(c, c.frames[i], dictionary, parameters);
        });
    for (auto &w : worker)
        w.join();
    return result;
}

} // namespace

int main(int argc, char **argv)
{
    Case c;
    unsigned threads = argc > 2 ? unsigned(std::stoi(argv[2])) : 1;
    if (argc < 2 || !read_case(argv[1], c)) {
        std::fprintf(stderr, "usage: opencv_reference CASE [THREADS]\n");
        return 64;
    }
    cv::setNumThreads(1); // threads are ours: a frame each
    auto begin = std::chrono::steady_clock::now();
    std::vector<Result> result = take_all(c, threads);
    double wall = std::chrono::duration<double, std::milli>(std::chrono::steady_clock::now() - begin).count();
    double width[360] = {};
    int posed = 0;
    for (int s = 0; s < STAGES; s++) {
        double sum = 0;
        for (const Result &r : result)
            sum += r.ms[s];
        std::printf("%s_ms %.3f\n", stage_name[s], sum);
    }
    for (const Result &r : result) {
        posed += r.posed;
        for (int b = 0; b < 360; b++)
            width[b] = std::max(width[b], r.width_mm[b]);
    }
    std::printf("wall_ms %.3f\nframes %zu\nposed %d\n", wall, result.size(), posed);
    for (int b = 0; b < 360; b++)
        std::printf("width %d %.4f\n", b, width[b]);
    return 0;
}
